"""The one chain of what is kept: every change, gap and addition from outside is found."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from pathlib import Path

import pytest
from some_runs import whole_run

from rig.records import ledger
from rig.records.facts import KINDS, Diagnosed, StoreDeclared
from rig.records.ids import new_run_id
from rig.records.packing import packed, unpacked
from rig.records.store import Store


@pytest.fixture
def filled(store: Store) -> Store:
    with store.writing() as connection:
        ledger.append(connection, StoreDeclared("practice", "Low Mill Bench Works", "invented"))
    run = new_run_id()
    journal = store.journal(run)
    for event in whole_run(run):
        journal.record(event)
    with store.writing() as connection:
        ledger.append(connection, Diagnosed("rectifier-open", "«größer»"), subject="job:1", by="A. Bench")
    return store


def test_what_was_kept_is_read_back(filled: Store) -> None:
    with filled.reading() as connection:
        entries = ledger.read(connection)
    assert [e.kind for e in entries] == ["StoreMade", "StoreDeclared", "RunBegan", "RunClosed", "Diagnosed"]
    assert [e.seq for e in entries] == [1, 2, 3, 4, 5]
    assert entries[-1].fact == Diagnosed("rectifier-open", "«größer»")
    assert entries[-1].subject == "job:1"
    assert filled.problems() == ()


def forged(store: Store, tmp_path: Path, *statements: str) -> tuple[str, ...]:
    """The problems after somebody has worked on the file with a tool of theirs."""
    with sqlite3.connect(tmp_path / "records.sqlite") as other:
        for (name,) in other.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
            other.execute(f"DROP TRIGGER {name}")
        for statement in statements:
            other.execute(statement)
    return store.problems()


@pytest.mark.parametrize(
    ("statement", "says"),
    [
        ("UPDATE entries SET body = replace(body, 'rectifier', 'plunger') WHERE seq = 5", "entry 5 .*was changed"),
        ("UPDATE entries SET by = 'B. Bench' WHERE seq = 5", "entry 5 .*was changed"),
        ("UPDATE entries SET utc = '2020-01-01T00:00:00.000+00:00' WHERE seq = 2", "entry 2 .*was changed"),
        ("DELETE FROM entries WHERE seq = 2", "entry 2: it is missing"),
        ("DELETE FROM entries WHERE seq = 1", "entry 1: it is missing"),
        ("DELETE FROM entries", "empty"),
        ("UPDATE entries SET seq = seq + 1 WHERE seq = 5", "entry 5: it is missing"),
        ("UPDATE entries SET kind = 'Noted' WHERE seq = 5", "unknown kind"),
        ("DELETE FROM readings", "readings"),
        ("DELETE FROM events WHERE kind IN ('RunEnded')", "is missing or is not the one"),
        ("UPDATE events SET form = '1' WHERE seq = 3", "event 3"),
        ("UPDATE events SET form = '9' WHERE seq = 3", "event 3"),
        ("UPDATE runs SET run = 'x'", "the ledger does not know it"),
        ("DELETE FROM entries WHERE seq = 5", "entry 5: it was there once"),
        ("DELETE FROM entries WHERE seq >= 4", "it has ended, and the ledger does not know"),
    ],
)
def test_whatever_is_forged_is_found(filled: Store, tmp_path: Path, statement: str, says: str) -> None:
    import re

    found = forged(filled, tmp_path, statement)
    assert any(re.search(says, problem) for problem in found), found


def test_a_whole_run_that_was_taken_away_is_missed(filled: Store, tmp_path: Path) -> None:
    found = forged(filled, tmp_path, "DELETE FROM readings", "DELETE FROM events", "DELETE FROM runs")
    assert any("is missing or is not the one" in problem for problem in found)


def test_an_old_copy_in_the_place_of_the_records_is_found(filled: Store, tmp_path: Path) -> None:
    from rig.records.backup import backup

    backup(filled, tmp_path / "old.sqlite")
    with filled.writing() as connection:
        ledger.append(connection, Diagnosed("plunger-stuck", ""), subject="job:1", by="A. Bench")
    place = Path(filled.place)
    filled.close()
    for end in ("", "-wal", "-shm"):
        place.with_name(place.name + end).unlink(missing_ok=True)
    (tmp_path / "old.sqlite").rename(place)
    with Store.open(f"sqlite:///{place}") as again:
        assert any("an old copy was put here" in problem for problem in again.problems())


def test_a_store_that_begins_where_one_was_starts_anew(filled: Store, url: str) -> None:
    place = Path(filled.place)
    filled.close()
    for end in ("", "-wal", "-shm"):
        place.with_name(place.name + end).unlink(missing_ok=True)
    with Store.open(url) as anew:
        assert anew.problems() == ()


def test_two_programs_that_append_at_once_make_one_chain(store: Store, url: str) -> None:
    from concurrent.futures import ThreadPoolExecutor

    def many(n: int) -> None:
        with Store.open(url, busy_seconds=30) as own:
            for _ in range(10):
                with own.writing() as connection:
                    ledger.append(connection, Diagnosed(f"cause-{n}", ""))

    with ThreadPoolExecutor(3) as pool:
        list(pool.map(many, range(3)))
    with store.reading() as connection:
        assert ledger.head_of(connection)[0] == 31
    assert store.problems() == ()


def test_every_kind_of_entry_has_a_name_of_its_own_in_the_code() -> None:
    assert "Released" in KINDS
    assert len(KINDS) == len(set(KINDS.values()))


@pytest.mark.parametrize("values", [(), (0.0,), (0.1, 0.2, 0.1 + 0.2), tuple(n / 10 for n in range(1000))])
def test_a_trace_is_packed_and_comes_back_to_the_bit(values: tuple[float, ...]) -> None:
    assert unpacked(packed(values)) == values


def test_a_trace_takes_less_room_packed() -> None:
    import json
    import math

    values = [20.0 + 3.0 * math.sin(n / 50) for n in range(2000)]
    assert len(packed(values)) < 0.75 * len(json.dumps(values))


@pytest.mark.parametrize("word", ["", "f8z:", "f8z:!!", "f8z:AAAA", packed((1.0, 2.0))[:-8], "f8:eJwDAAAAAAE="])
def test_what_is_no_packed_trace_is_refused(word: str) -> None:
    with pytest.raises(ValueError, match="packed trace"):
        unpacked(word)


def canonical_tables() -> list[Callable[[], str]]:
    from sqlalchemy.dialects import postgresql
    from sqlalchemy.schema import CreateTable

    from rig.records import schema

    return [lambda t=t: str(CreateTable(t).compile(dialect=postgresql.dialect())) for t in schema.tables.sorted_tables]


@pytest.mark.parametrize("made", canonical_tables())
def test_the_tables_are_of_a_kind_that_postgresql_takes(made: Callable[[], str]) -> None:
    assert made().lstrip().startswith("CREATE TABLE")
