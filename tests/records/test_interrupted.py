"""A run that was cut off is found at the next start, marked with what was last known, and stays readable."""

from __future__ import annotations

import fcntl
import json
import os
import threading
from pathlib import Path

import pytest
from some_runs import started, supply

from rig.errors import RecordError
from rig.events import Event, Interrupted, OutputConfirmed, OutputIntended, StepEnded
from rig.limits import Verdict
from rig.records import anchor, interrupted
from rig.records.ids import new_run_id
from rig.records.interrupted import RunLock, held, lock_path, report_path
from rig.records.store import Store


def cut_off(folder: Path, events: list[Event], run: str) -> None:
    """Write events and go away without an end, as a program that was killed does: its lock goes with it."""
    with Store.open(f"sqlite:///{folder / 'records.sqlite'}") as store:
        journal = store.journal(run)
        for event in events:
            journal.record(event)


def test_it_is_marked_once_with_the_last_confirmed_states(tmp_path: Path) -> None:
    run = new_run_id()
    told: list[Event] = [
        started(run),
        OutputIntended(1.0, "mains", True),
        OutputConfirmed(1.1, "mains", True, "mains-aux"),
        OutputIntended(2.0, "volts-bus", True),
        OutputConfirmed(2.1, "volts-bus", True, "volts-bus-aux"),
        OutputConfirmed(2.9, "volts-bus", False, "volts-bus-aux"),
        StepEnded(3.0, supply()),
        OutputIntended(4.0, "heater-enable", True),
    ]
    cut_off(tmp_path, told, run)
    with Store.open(f"sqlite:///{tmp_path / 'records.sqlite'}") as store:
        report = store.report_path(run)
        report.write_text(json.dumps({"unix": 1.0, "said": "all boards dropped"}) + "\n{half", encoding="utf-8")
        assert store.mark_interrupted() == (run,)
        assert store.mark_interrupted() == ()
        mark = store.events(run)[-1]
        assert isinstance(mark, Interrupted)
        assert mark.confirmed_on == ("mains",)
        assert mark.perhaps_on == ("heater-enable",)
        assert mark.second_process == ("all boards dropped",)
        stored = store.stored_run(run)
        assert stored.interrupted
        assert stored.record.ended.verdict is Verdict.STOPPED
        assert "mains" in (stored.record.ended.reason or "")
        assert len(stored.record.steps) == 1
        assert store.verify(run).problems == ()


def test_a_run_that_is_still_going_on_is_left_alone(tmp_path: Path) -> None:
    url, run = f"sqlite:///{tmp_path / 'records.sqlite'}", new_run_id()
    with Store.open(url) as writing:
        journal = writing.journal(run)
        journal.record(started(run))
        assert held(lock_path(tmp_path, run))
        with Store.open(url) as other:
            assert other.mark_interrupted() == ()
    assert not held(lock_path(tmp_path, run))
    with Store.open(url) as other:
        assert other.mark_interrupted() == (run,)


def test_somebody_who_looks_whether_a_run_goes_on_does_not_keep_it_from_beginning(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = lock_path(tmp_path, "r")
    path.parent.mkdir()
    looker = os.open(path, os.O_RDWR | os.O_CREAT)
    fcntl.flock(looker, fcntl.LOCK_EX)
    with pytest.raises(RecordError):
        RunLock(tmp_path, "r")
    monkeypatch.setattr(interrupted.time, "sleep", lambda seconds: fcntl.flock(looker, fcntl.LOCK_UN))
    RunLock(tmp_path, "r").release()
    os.close(looker)


def test_two_runs_of_one_program_note_the_last_entry_in_files_of_their_own(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    parts, both = set(), threading.Barrier(2)

    def replace(part: Path, place: Path) -> None:
        both.wait(60.0)
        parts.add((part, part.read_text(encoding="utf-8")))

    monkeypatch.setattr(anchor.os, "replace", replace)
    notes = [threading.Thread(target=anchor.note, args=(tmp_path / "records.sqlite", n, "a")) for n in (9, 10)]
    for one in notes:
        one.start()
    for one in notes:
        one.join()
    assert len({part for part, _ in parts}) == 2
    assert {json.loads(text)["entry"] for _, text in parts} == {9, 10}


def test_paths_lie_beside_the_store(tmp_path: Path) -> None:
    assert lock_path(tmp_path, "x").parent.parent == report_path(tmp_path, "x").parent.parent == tmp_path
