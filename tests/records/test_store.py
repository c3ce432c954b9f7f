from __future__ import annotations

import json
import os
import sqlite3
import stat
import tempfile
import threading
from collections.abc import Iterator
from pathlib import Path

import pytest
import sqlalchemy as sa
from some_runs import started, supply, whole_run

from rig.errors import InputError, RecordError, RigError
from rig.events import AllOff, OutputIntended, RunRecord, Sampled, StepEnded, StepStarted, run_dict
from rig.limits import Verdict
from rig.records import schema
from rig.records.canonical import FORM
from rig.records.chain import link
from rig.records.faults import guarded
from rig.records.ids import new_run_id, uuid7
from rig.records.store import Store, default_path
from rig.run.journal import record_of


def keep(store: Store, run: str, serial: str = "LM-0042", job: str = "J-7", upto: int | None = None) -> None:
    journal = store.journal(run)
    for event in whole_run(run, serial, job)[:upto]:
        journal.record(event)


def test_a_run_reads_back_as_it_was_also_after_reopening(url: str) -> None:
    run = new_run_id()
    with Store.open(url) as store:
        keep(store, run)
    told = [e for e in whole_run(run) if not isinstance(e, Sampled)]
    with Store.open(url, must_exist=True) as store:
        assert list(store.events(run)) == told
        assert json.dumps(run_dict(store.read_run(run))) == json.dumps(run_dict(_normal(record_of(told))))
        assert not store.stored_run(run).interrupted


def _normal(record: RunRecord) -> RunRecord:
    from rig.records.codec import normal_record

    return normal_record(record)


@pytest.mark.parametrize("table", [t.name for t in schema.APPEND_ONLY])
def test_nothing_is_changed_or_taken_away(store: Store, tmp_path: Path, table: str) -> None:
    keep(store, new_run_id())
    other = sqlite3.connect(tmp_path / "records.sqlite")
    columns = {"jobs": "first_run", "runs": "serial", "events": "body", "readings": "verdict", "entries": "body"}
    column = columns.get(table, "subject")
    if table == "gathered":
        other.execute("INSERT INTO gathered VALUES (1, 'store', 1, 'id', 'job:1', 'previous', 'hash', 'time')")
        other.commit()
    before = other.execute(f"SELECT * FROM {table}").fetchall()
    assert before
    for attempt in (
        f"UPDATE {table} SET {column} = 'pass'",
        f"DELETE FROM {table}",
        f"INSERT OR REPLACE INTO {table} SELECT * FROM {table}",
    ):
        with pytest.raises(sqlite3.IntegrityError, match="append-only"):
            other.execute(attempt)
    assert other.execute(f"SELECT * FROM {table}").fetchall() == before
    other.close()


def test_columns_repeat_what_the_steps_say(store: Store, tmp_path: Path) -> None:
    keep(store, new_run_id())
    with sqlite3.connect(tmp_path / "records.sqlite") as other:
        rows = other.execute("SELECT step, verdict, value, unit, u FROM readings ORDER BY seq").fetchall()
    assert rows == [
        ("look-over", "pass", None, None, None),
        ("fill-supply-loaded", "fail", 14.1, "V", 0.01),
        ("coil-resistance", "no reading", None, None, None),
    ]


def test_a_second_run_of_one_job(store: Store, tmp_path: Path) -> None:
    first, second = new_run_id(), new_run_id()
    keep(store, first)
    keep(store, second)
    with sqlite3.connect(tmp_path / "records.sqlite") as other:
        assert other.execute("SELECT * FROM jobs").fetchall() == [("J-7", first)]


def test_a_run_that_was_cut_off_is_listed_with_what_is_known(store: Store) -> None:
    run = new_run_id()
    journal = store.journal(run)
    journal.record(started(run))
    journal.record(StepStarted(1.0, "fill-time", "fill", "times", 2.0))
    journal.record(OutputIntended(1.5, "mains", True))
    (line,) = store.list_runs()
    assert line.running
    assert (line.verdict, line.interrupted, store.stored_run(run).running) == (None, False, True)
    journal.release()
    (line,) = store.list_runs()
    assert line.interrupted
    assert line.verdict is Verdict.STOPPED
    assert line.reason == store.stored_run(run).record.ended.reason
    assert "mains was to be switched on" in line.known
    stored = store.stored_run(run)
    assert stored.interrupted
    assert stored.record.ended.verdict is Verdict.STOPPED
    assert not stored.record.ended.all_off
    assert "interrupted" in (stored.record.ended.reason or "")


def test_a_run_cut_off_after_all_off_says_so(store: Store) -> None:
    run = new_run_id()
    keep(store, run, upto=-1)  # all but its end
    assert store.stored_run(run).record.ended.all_off
    assert "everything was switched off" in store.list_runs()[0].known


def test_a_run_cut_off_after_something_stayed_on_does_not_claim_to_be_off(store: Store) -> None:
    run = new_run_id()
    journal = store.journal(run)
    journal.record(started(run))
    journal.record(AllOff(3.0, False, ("mains",)))
    assert not store.stored_run(run).record.ended.all_off


def test_lists_newest_first_by_serial_and_not_more_than_asked(store: Store) -> None:
    runs = [str(uuid7(1_700_000_000_000 + n * 100_000, 0, n)) for n in range(4)]
    for n, run in enumerate(runs):
        keep(store, run, serial="odd" if n % 2 else "even", job="")
    assert [line.run for line in store.list_runs()] == runs[::-1]
    assert [line.run for line in store.list_runs(limit=2)] == [runs[3], runs[2]]
    assert [line.run for line in store.list_runs(serial="odd")] == [runs[3], runs[1]]
    assert store.list_runs(serial="od") == ()
    assert store.list_runs()[0].verdict is Verdict.NO_READING


def test_the_beginning_of_an_id_is_enough_when_it_is_the_only_one(store: Store) -> None:
    alike = [str(uuid7(1_700_000_000_000, 5, n)) for n in (1, 2)]
    other = str(uuid7(1_800_000_000_000, 5, 1))
    for run in (*alike, other):
        keep(store, run)
    assert store.read_run(other[:8]).started.run == other
    assert store.read_run(other.replace("-", "").upper()).started.run == other
    with pytest.raises(InputError, match="2 runs"):
        store.read_run(alike[0][:20])
    for nothing in ("ffff", "", "-"):
        with pytest.raises(InputError, match="no run"):
            store.read_run(nothing)
    for line in store.list_runs():
        assert store.read_run(line.short).started.run == line.run


def _tamper(path: Path, *statements: str) -> None:
    with sqlite3.connect(path) as other:
        for (name,) in other.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
            other.execute(f"DROP TRIGGER {name}")
        for statement in statements:
            assert other.execute(statement).rowcount > 0


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE events SET body = replace(body, '14.1', '24.1') WHERE seq = 11",
        "UPDATE events SET body = ' ' || body WHERE seq = 11",
        "UPDATE events SET body = 'nonsense' WHERE seq = 11",
        "UPDATE events SET at = 5 WHERE seq = 11",
        "DELETE FROM events WHERE seq = 10",
        "UPDATE events SET seq = 99 WHERE seq = 10",
        "UPDATE events SET hash = previous WHERE seq = 10",
        "UPDATE readings SET value = 24.1 WHERE seq = 11",
        "UPDATE readings SET verdict = 'pass' WHERE seq = 11",
        "DELETE FROM readings WHERE seq = 11",
        "INSERT INTO readings SELECT run, 1, step, 1, verdict, 0, 'V', 0, bound FROM readings WHERE seq=11",
        "UPDATE runs SET serial = 'other'",
    ],
)
def test_tampering_is_found(store: Store, tmp_path: Path, statement: str) -> None:
    run = new_run_id()
    keep(store, run)
    good = store.verify(run)
    assert good.problems == ()
    assert good.ended
    assert good.events == len([e for e in whole_run(run) if not isinstance(e, Sampled)])
    _tamper(tmp_path / "records.sqlite", statement)
    assert store.verify(run).problems


def test_events_of_another_run_put_in_are_found(store: Store, tmp_path: Path) -> None:
    run, other = new_run_id(), new_run_id()
    keep(store, run)
    keep(store, other)
    _tamper(
        tmp_path / "records.sqlite",
        f"DELETE FROM readings WHERE run = '{run}'",
        f"DELETE FROM events WHERE run = '{run}'",
        f"UPDATE events SET run = '{run}' WHERE run = '{other}'",
        f"UPDATE readings SET run = '{run}' WHERE run = '{other}'",
    )
    assert any("hash" in p for p in store.verify(run).problems)


def test_an_event_that_was_forged_with_a_hash_of_its_own_is_found(store: Store, tmp_path: Path) -> None:
    run = new_run_id()
    keep(store, run)
    with sqlite3.connect(tmp_path / "records.sqlite") as other:
        body, previous = other.execute("SELECT body, previous FROM events WHERE seq = 10").fetchone()
        assert "repeated" in body
        forged = body.replace("repeated", "oiled")
        new_hash = link(run, 10, previous, forged, FORM)
        for (name,) in other.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
            other.execute(f"DROP TRIGGER {name}")
        other.execute("UPDATE events SET body = ?, hash = ? WHERE seq = 10", (forged, new_hash))
    assert store.verify(run).problems == ("event 11: it does not name the hash of the event before it",)


def test_a_locked_file_is_a_record_error(url: str, tmp_path: Path) -> None:
    run = new_run_id()
    with Store.open(url, busy_seconds=0.01) as store:
        journal = store.journal(run)
        journal.record(started(run))
        other = sqlite3.connect(tmp_path / "records.sqlite", isolation_level=None)
        other.execute("BEGIN IMMEDIATE")
        with pytest.raises(RecordError, match="locked") as caught:
            journal.record(StepEnded(1.0, supply()))
        assert len(caught.value.lines()) == 2
        other.execute("ROLLBACK")
        other.close()
        journal.record(StepEnded(2.0, supply()))
        assert len(store.events(run)) == 3  # what could not be written before is there now


def test_a_new_file_that_another_program_has_just_begun_is_waited_for(url: str, tmp_path: Path) -> None:
    other = sqlite3.connect(tmp_path / "records.sqlite", isolation_level=None, check_same_thread=False)
    other.execute("BEGIN IMMEDIATE")
    with pytest.raises(RecordError, match="locked"), Store.open(url, busy_seconds=0.01):
        pass
    later = threading.Timer(0.3, other.execute, ["ROLLBACK"])
    later.start()
    with Store.open(url, busy_seconds=60.0) as store:
        assert store.problems() == ()
    later.join()
    other.close()


def test_a_file_that_is_no_store_is_left_alone(tmp_path: Path) -> None:
    path = tmp_path / "notes.txt"
    path.write_bytes(b"not a database, and long enough to be looked at\n" * 100)
    with pytest.raises(RecordError, match="not a store"):
        Store.open(f"sqlite:///{path}")
    assert path.read_bytes() == b"not a database, and long enough to be looked at\n" * 100


def test_a_database_of_somebody_else_is_left_alone(tmp_path: Path) -> None:
    path = tmp_path / "other.sqlite"
    with sqlite3.connect(path) as other:
        other.execute("CREATE TABLE customers (name TEXT)")
    with pytest.raises(RecordError, match="not one of records"):
        Store.open(f"sqlite:///{path}")
    with sqlite3.connect(path) as other:
        assert other.execute("SELECT name FROM sqlite_master").fetchall() == [("customers",)]


def test_records_of_a_newer_rig_are_not_touched(url: str, tmp_path: Path) -> None:
    Store.open(url).close()
    with sqlite3.connect(tmp_path / "records.sqlite") as other:
        other.execute("UPDATE meta SET value = '4' WHERE name = 'schema'")
    with pytest.raises(RecordError, match="version 4"):
        Store.open(url)


def test_a_damaged_page_is_a_record_error(url: str, tmp_path: Path) -> None:
    run = new_run_id()
    with Store.open(url) as store:
        keep(store, run)
    path = tmp_path / "records.sqlite"
    data = bytearray(path.read_bytes())
    data[4096:] = b"\xa5" * (len(data) - 4096)
    path.write_bytes(data)
    with pytest.raises(RecordError) as caught, Store.open(url) as store:
        store.read_run(run)
    assert len(caught.value.lines()) == 2


@pytest.fixture
def nobody_may_write() -> Iterator[Path]:
    """A store in a folder that only its owner may write to, seen by somebody else."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        Store.open(f"sqlite:///{folder / 'records.sqlite'}").close()
        os.chmod(folder / "records.sqlite", 0o444)
        os.chmod(folder, 0o555)
        is_root = os.geteuid() == 0
        if is_root:
            os.seteuid(65534)
        try:
            yield folder
        finally:
            if is_root:
                os.seteuid(0)
            os.chmod(folder, stat.S_IRWXU)


def test_where_nobody_may_write_it_is_a_record_error(nobody_may_write: Path) -> None:
    run = new_run_id()
    with pytest.raises(RecordError) as caught:
        Store.open(f"sqlite:///{nobody_may_write / 'records.sqlite'}").journal(run).record(started(run))
    assert len(caught.value.lines()) == 2
    with pytest.raises(RecordError):
        Store.open(f"sqlite:///{nobody_may_write / 'deeper' / 'new.sqlite'}")


def test_a_folder_in_the_way(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("x")
    with pytest.raises(RecordError, match="cannot be opened"):
        Store.open(f"sqlite:///{tmp_path / 'file' / 'records.sqlite'}")
    with pytest.raises(RecordError, match="cannot be opened"):
        Store.open(f"sqlite:///{tmp_path}")


@pytest.mark.parametrize(
    ("url", "says"),
    [
        ("postgresql+psycopg2://bench@shop/records", "no such driver"),
        ("postgres://bench@shop/records", "no such kind"),
        ("mysql://x/y", "no such kind"),
        ("sqlite://", "in a file"),
        ("sqlite:///:memory:", "in a file"),
        ("records.sqlite", "cannot read"),
        ("", "cannot read"),
    ],
)
def test_other_urls_are_refused_before_anything_is_made(url: str, says: str) -> None:
    with pytest.raises(InputError) as caught:
        Store.open(url)
    assert says in " ".join(caught.value.lines())
    assert caught.value.exit_code == 2


def test_the_default_is_in_rig_home(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setenv("RIG_HOME", str(tmp_path / "home"))
    assert default_path() == tmp_path / "home" / "records.sqlite"
    Store.open().close()
    assert (tmp_path / "home" / "records.sqlite").exists()
    monkeypatch.delenv("RIG_HOME")
    assert default_path().name == "records.sqlite"
    assert "refurb-rig" in str(default_path())


def test_reading_where_nothing_is_makes_nothing(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="no records"):
        Store.open(f"sqlite:///{tmp_path / 'new.sqlite'}", must_exist=True)
    assert not (tmp_path / "new.sqlite").exists()


def _all_below(cls: type[BaseException]) -> Iterator[type[BaseException]]:
    yield cls
    for sub in cls.__subclasses__():
        yield from _all_below(sub)


@pytest.mark.parametrize(
    "kind",
    sorted({*_all_below(sa.exc.SQLAlchemyError), *_all_below(sqlite3.Error)}, key=str),
    ids=lambda c: f"{c.__module__}.{c.__name__}",
)
def test_every_exception_of_the_libraries_below_is_one_of_ours(kind: type[BaseException]) -> None:
    fault = kind("x", "SELECT 1", (), Exception("y")) if issubclass(kind, sa.exc.StatementError) else kind.__new__(kind)
    with pytest.raises(RecordError) as caught, guarded("records.sqlite"):
        raise fault
    assert isinstance(caught.value, RigError)
    assert len(caught.value.lines()) == 2
