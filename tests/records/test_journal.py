"""What is on disk, and when."""

from __future__ import annotations

import sqlite3
from pathlib import Path

import pytest
from some_runs import asked, started, supply, whole_run

from rig.errors import RecordError
from rig.events import AllOff, Answered, Event, Noted, OutputIntended, RunEnded, Sampled, StepEnded, Traced
from rig.limits import Verdict
from rig.records.ids import new_run_id
from rig.records.journal import commits
from rig.records.store import Store


def on_disk(path: Path, run: str) -> list[str]:
    """The kinds on record, as another program sees them."""
    with sqlite3.connect(path) as other:
        return [kind for (kind,) in other.execute("SELECT kind FROM events WHERE run = ? ORDER BY seq", (run,))]


def test_each_event_that_must_be_safe_is_on_disk_when_record_returns(store: Store, tmp_path: Path) -> None:
    run, expected = new_run_id(), []
    journal = store.journal(run)
    for event in whole_run(run):
        journal.record(event)
        if not isinstance(event, Sampled):
            expected.append(type(event).__name__)
        if commits(event):
            assert on_disk(tmp_path / "records.sqlite", run) == expected


@pytest.mark.parametrize(
    ("event", "at_once"),
    [
        (started("x"), True),
        (OutputIntended(0.0, "mains", True), True),
        (OutputIntended(0.0, "mains", False), False),
        (Answered(0.0, "s", "yes", "p"), True),
        (StepEnded(0.0, asked()), True),
        (AllOff(0.0, True, ()), True),
        (RunEnded(0.0, Verdict.PASS, None, True, 1.0, 1.0), True),
        (Traced(0.0, "s", "q", "V", (), ()), False),
        (Noted(0.0, "x"), False),
    ],
)
def test_what_is_waited_for(event: Event, at_once: bool) -> None:
    assert commits(event) is at_once


def test_a_trace_waits_for_the_next_that_must_be_safe(store: Store, tmp_path: Path) -> None:
    run = new_run_id()
    journal = store.journal(run)
    journal.record(started(run))
    journal.record(Traced(1.0, "s", "q", "V", (0.5,), (1.5,)))
    assert on_disk(tmp_path / "records.sqlite", run) == ["RunStarted"]
    journal.record(StepEnded(2.0, supply()))
    assert on_disk(tmp_path / "records.sqlite", run) == ["RunStarted", "Traced", "StepEnded"]


def test_the_file_is_told_to_wait_for_the_disk(store: Store) -> None:
    with store.engine.connect() as connection:
        found = [connection.exec_driver_sql(f"PRAGMA {p}").scalar() for p in ("synchronous", "journal_mode")]
        keys = connection.exec_driver_sql("PRAGMA foreign_keys").scalar()
    assert found == [2, "wal"]  # 2 is FULL: sqlite.org/pragma.html#pragma_synchronous
    assert keys == 1


def test_a_run_begins_with_its_beginning(store: Store) -> None:
    with pytest.raises(RecordError):
        store.journal(new_run_id()).record(StepEnded(0.0, asked()))


def test_the_journal_of_one_run_refuses_another(store: Store) -> None:
    with pytest.raises(RecordError, match="beginning of"):
        store.journal(new_run_id()).record(started(new_run_id()))


def test_two_journals_of_one_run_do_not_mix(store: Store, url: str) -> None:
    run = new_run_id()
    store.journal(run).record(started(run))
    with Store.open(url) as other, pytest.raises(RecordError, match="another program"):
        other.journal(run).record(StepEnded(0.0, asked()))


def test_a_value_that_is_no_number_is_refused_and_nothing_of_it_is_kept(store: Store) -> None:
    run = new_run_id()
    journal = store.journal(run)
    journal.record(started(run))
    with pytest.raises(RecordError):
        journal.record(StepEnded(1.0, supply(float("nan"))))
    assert len(store.events(run)) == 1


def test_a_full_disk_is_said_and_what_was_meant_is_written_when_there_is_room_again(store: Store) -> None:
    run = new_run_id()
    journal = store.journal(run)
    journal.record(started(run))
    with store.engine.connect() as connection:
        pages = connection.exec_driver_sql("PRAGMA page_count").scalar()
    _limit_pages(store, pages)
    journal.close()
    journal.record(Traced(1.0, "s", "q", "V", (0.5,) * 40_000, (1.5,) * 40_000))
    with pytest.raises(RecordError) as caught:
        journal.record(StepEnded(2.0, asked()))
    assert "full" in caught.value.what
    assert len(caught.value.lines()) == 2
    assert len(store.events(run)) == 1
    _limit_pages(store, 1_000_000)
    journal.record(AllOff(3.0, True, ()))
    assert [type(e).__name__ for e in store.events(run)] == ["RunStarted", "Traced", "StepEnded", "AllOff"]
    assert store.verify(run).problems == ()


def _limit_pages(store: Store, pages: int | None) -> None:
    """A disk of so many pages, from the next connection on."""
    import sqlalchemy as sa

    store.engine.dispose()

    @sa.event.listens_for(store.engine, "connect")
    def _limit(connection: sqlite3.Connection, _: object) -> None:
        connection.execute(f"PRAGMA max_page_count = {pages}")


def test_what_reached_the_disk_though_the_commit_failed_is_not_written_twice(store: Store) -> None:
    import sqlalchemy as sa

    run = new_run_id()
    journal = store.journal(run)
    journal.record(started(run))
    failing = [True]

    @sa.event.listens_for(store.engine, "commit")
    def _lose_the_answer(connection: sa.Connection) -> None:
        if failing and failing.pop():
            connection.connection.driver_connection.execute("COMMIT")  # type: ignore[union-attr]
            raise OSError(5, "Input/output error")

    with pytest.raises(RecordError):
        journal.record(StepEnded(1.0, asked()))
    journal.record(AllOff(2.0, True, ()))
    assert [type(e).__name__ for e in store.events(run)] == ["RunStarted", "StepEnded", "AllOff"]
    assert store.verify(run).problems == ()
