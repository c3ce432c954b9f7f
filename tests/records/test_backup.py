"""A backup is whole or it is not there; a restore takes nobody's place."""

from __future__ import annotations

import sqlite3
from pathlib import Path

import pytest
from some_runs import started, whole_run

from rig.errors import InputError, RecordError, RuleError
from rig.records.backup import backup, restore
from rig.records.ids import new_run_id
from rig.records.store import Store


def keep(store: Store) -> str:
    run = new_run_id()
    journal = store.journal(run)
    for event in whole_run(run):
        journal.record(event)
    return run


def test_there_and_back(store: Store, tmp_path: Path) -> None:
    run = keep(store)
    copied = backup(store, tmp_path / "backup.sqlite")
    assert (copied.entries, copied.runs) == (3, 1)
    assert sorted(p.name for p in tmp_path.glob("backup*")) == ["backup.sqlite"]
    back = restore(tmp_path / "backup.sqlite", f"sqlite:///{tmp_path / 'new' / 'records.sqlite'}")
    assert (back.entries, back.head) == (copied.entries, copied.head)
    with Store.open(f"sqlite:///{tmp_path / 'new' / 'records.sqlite'}", must_exist=True) as again:
        assert again.read_run(run) == store.read_run(run)
        keep(again)  # and it goes on from there
        assert again.problems() == ()


def test_while_a_run_is_being_written(store: Store, tmp_path: Path) -> None:
    run = new_run_id()
    store.journal(run).record(started(run))
    assert backup(store, tmp_path / "backup.sqlite").runs == 1


def test_a_file_that_is_there_is_left_alone(store: Store, tmp_path: Path) -> None:
    (tmp_path / "backup.sqlite").write_text("mine")
    with pytest.raises(InputError, match="already"):
        backup(store, tmp_path / "backup.sqlite")
    assert (tmp_path / "backup.sqlite").read_text() == "mine"
    with pytest.raises(InputError, match="no such file"):
        restore(tmp_path / "nothing.sqlite", None)


def test_records_that_are_there_are_left_alone(store: Store, url: str, tmp_path: Path) -> None:
    backup(store, tmp_path / "backup.sqlite")
    with pytest.raises(RuleError, match="records already"):
        restore(tmp_path / "backup.sqlite", url)


@pytest.mark.parametrize(
    "change", ["UPDATE entries SET by = 'somebody'", "DELETE FROM entries WHERE seq = 2", "DELETE FROM readings"]
)
def test_a_backup_that_was_changed_is_not_brought_back(store: Store, tmp_path: Path, change: str) -> None:
    keep(store)
    backup(store, tmp_path / "backup.sqlite")
    with sqlite3.connect(tmp_path / "backup.sqlite") as other:
        for (name,) in other.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
            other.execute(f"DROP TRIGGER {name}")
        other.execute(change)
    with pytest.raises(RecordError, match="does not hold"):
        restore(tmp_path / "backup.sqlite", f"sqlite:///{tmp_path / 'new.sqlite'}")
    assert list(tmp_path.glob("new*")) == []


def test_a_file_that_is_no_backup(tmp_path: Path) -> None:
    (tmp_path / "notes.txt").write_bytes(b"not a database, and long enough to be looked at\n" * 100)
    with pytest.raises(RecordError):
        restore(tmp_path / "notes.txt", f"sqlite:///{tmp_path / 'new.sqlite'}")
    assert list(tmp_path.glob("new*")) == []
