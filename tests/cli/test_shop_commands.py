"""``rig gather`` and ``rig shop`` as they are called."""

from __future__ import annotations

import json
from pathlib import Path

from tests.cli.conftest import Rig


def test_a_run_is_gathered_counted_shown_and_exported(rig: Rig, two_looks: str, shop_url: str, tmp_path: Path) -> None:
    assert rig("run", two_looks, "--serial", "LM-0042")[0] == 0
    code, out, _ = rig("gather", "--to", shop_url, "--json")
    sent = json.loads(out)
    assert (code, sent["runs"], sent["differs"]) == (0, 1, [])
    assert json.loads(rig("gather", "--to", shop_url, "--json")[1])["entries"] == 0
    listed = json.loads(rig("runs", "--store", shop_url, "--json")[1])
    assert [line["serial"] for line in listed] == ["LM-0042"]
    assert rig("verify", "--store", shop_url)[0] == 0
    for where in ("--store", shop_url), ():
        code, out, _ = rig("shop", *where, "--json")
        assert code == 0
        assert {row["step"]: row["done"] for row in json.loads(out)["steps"]} == {"lid": 1, "ambient": 1}
    page, everything = tmp_path / "figures.html", tmp_path / "unit.json"
    assert rig("shop", "--store", shop_url, "--html", str(page))[0] == 0
    assert "Figures of the workshop" in page.read_text(encoding="utf-8")
    assert rig("shop", "export", "--store", shop_url, "--serial", "LM-0042", str(everything))[0] == 0
    assert len(json.loads(everything.read_text(encoding="utf-8"))["runs"]) == 1
    assert rig("shop", "floor", "--once", "--store", shop_url)[0] == 0
    assert json.loads(rig("shop", "measured-with", "meter", "--store", shop_url, "--json")[1])["runs"] == []
    assert json.loads(rig("shop", "retention", "--years", "10", "--store", shop_url, "--json")[1]) == []


def test_what_is_wrong_is_said_in_two_lines(rig: Rig, two_looks: str, tmp_path: Path) -> None:
    assert rig("run", two_looks)[0] == 0
    for words, code in (
        (("gather",), 2),
        (("gather", "--to", "mysql://x/y"), 2),
        (("gather", "--to", "postgresql+psycopg://bench@127.0.0.1:1/records"), 3),
        (("shop", "export", str(tmp_path / "x.json")), 2),
        (("shop", "export", "--owner", "nobody", str(tmp_path / "x.json")), 2),
        (("store", "roles"), 2),
        (("shop", "floor"), 2),
        (("backup", str(tmp_path / "b.sqlite"), "--store", "postgresql+psycopg://bench@127.0.0.1:1/records"), 3),
    ):
        found, out, err = rig(*words)
        assert (found, out) == (code, ""), words
        assert len(err.splitlines()) == 2, err
        assert "Traceback" not in err
