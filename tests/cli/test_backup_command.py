from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

Rig = Callable[..., tuple[int, str, str]]


def test_there_and_back_again(rig: Rig, two_looks: str, tmp_path: Path, home: Path) -> None:
    assert rig("run", two_looks, "--person", "simulated")[0] == 0
    code, said, _ = rig("backup", str(tmp_path / "b.sqlite"))
    assert code == 0
    assert "1 run and 3 entries kept in" in said
    assert "every chain holds" in said
    code, _, said = rig("restore", str(tmp_path / "b.sqlite"))
    assert code == 4
    assert "records already" in said
    (home / "records.sqlite").rename(home / "aside.sqlite")
    for end in ("-wal", "-shm"):
        (home / f"records.sqlite{end}").unlink(missing_ok=True)
    code, said, _ = rig("restore", str(tmp_path / "b.sqlite"), "--json")
    assert code == 0
    assert json.loads(said)["runs"] == 1
    assert len(json.loads(rig("runs", "--json")[1])) == 1


def test_where_nothing_is(rig: Rig, tmp_path: Path) -> None:
    assert rig("backup", str(tmp_path / "b.sqlite"))[0] == 2
    assert rig("restore", str(tmp_path / "b.sqlite"))[0] == 2
