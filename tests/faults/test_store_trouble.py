"""A store that cannot keep what happened: said clearly, outputs off, nothing overwritten, nothing lost before it."""

from __future__ import annotations

import json
import os
import resource
import sqlite3
import subprocess
import sys
from pathlib import Path

import pytest

from rig.bench.opening import OpenBench
from rig.errors import RecordError
from rig.events import AllOff, Event, StepEnded
from rig.records.ids import new_run_id
from rig.records.store import Store
from rig.run.session import RunRequest, run_procedure
from tests.conftest import bundled_plan

RIG = [sys.executable, "-c", "from rig.cli.main import main; main()"]


def rig(home: Path, *arguments: str, limit: int | None = None) -> subprocess.CompletedProcess[str]:
    """The command in a process of its own, with files that may not grow beyond ``limit`` bytes."""

    def small_disk() -> None:
        if limit is not None:
            resource.setrlimit(resource.RLIMIT_FSIZE, (limit, limit))

    return subprocess.run(
        [*RIG, *arguments], env={**os.environ, "RIG_HOME": str(home)}, capture_output=True, text=True, check=False,
        stdin=subprocess.DEVNULL, preexec_fn=small_disk,
    )  # fmt: skip


def test_a_disk_that_fills_up_in_the_middle(tmp_path: Path) -> None:
    done = rig(tmp_path, "run", "incoming-inspection", limit=220_000)
    assert done.returncode == 3, done.stdout + done.stderr
    assert "Traceback" not in done.stderr
    assert "disk" in done.stderr or "cannot" in done.stderr
    assert "off" in done.stdout
    listed = json.loads(rig(tmp_path, "runs", "--json").stdout)
    assert len(listed) == 1, "what was kept before is still there"
    run = listed[0]["run"]
    kept = json.loads(rig(tmp_path, "runs", run, "--json").stdout)
    assert kept["steps"], "and can be read"
    shown = [line for line in done.stdout.splitlines() if line.startswith("✓")]
    assert len(kept["steps"]) >= len(shown) - 1  # the step whose keeping failed was shown as it failed


@pytest.mark.parametrize("at", [3, 20, 31])
def test_a_store_that_another_program_locks_in_the_middle(at: int, tmp_path: Path) -> None:
    path = tmp_path / "records.sqlite"
    benches: list[OpenBench] = []
    seen: list[Event] = []
    run = new_run_id()
    with Store.open(f"sqlite:///{path}", busy_seconds=0.05) as store:
        other = sqlite3.connect(path, isolation_level=None, timeout=0.05)

        def watch(event: Event) -> None:
            seen.append(event)
            if isinstance(event, StepEnded) and sum(isinstance(e, StepEnded) for e in seen) == at:
                other.execute("BEGIN IMMEDIATE")

        with pytest.raises(RecordError) as failed:
            run_procedure(RunRequest(run=run, seed=1), bundled_plan(), [watch], store.journal, benches.append)
        assert failed.value.do
        other.rollback()
        other.close()
        station = benches[0].station
        assert station is not None
        assert not any(station.plant.coils(1))
        assert [e for e in seen if isinstance(e, AllOff)][-1].confirmed
        kept = [e.result.name for e in store.events(run) if isinstance(e, StepEnded)]
        shown = [e.result.name for e in seen if isinstance(e, StepEnded)]
        assert kept[:at] == shown[:at]


@pytest.mark.parametrize("content", [b"", b"not a database at all, but long enough to be one" * 100])
def test_a_store_that_cannot_be_opened_energizes_nothing(content: bytes, tmp_path: Path) -> None:
    folder = tmp_path / "home"
    folder.mkdir()
    file = folder / "records.sqlite"
    if content:
        file.write_bytes(content)
    else:
        file.mkdir()
    done = rig(folder, "run", "incoming-inspection")
    assert done.returncode == 3
    assert "Traceback" not in done.stderr
    assert done.stderr.strip()
    assert "decontamination-statement" not in done.stdout
    if content:
        assert file.read_bytes() == content, "nothing is overwritten"
