"""A ledger is followed outside the transaction that writes; inside it, what came since is followed."""

from __future__ import annotations

import sqlite3
from pathlib import Path

import pytest
import sqlalchemy as sa
from shop import QA, TECH, Shop

from rig.errors import RuleError
from rig.records import ledger, ledger_problems, moves
from rig.records.facts import Looked, Shipped
from rig.records.job import job_of
from rig.records.ledger_problems import Followed, follow, follow_one, problems
from rig.records.release import release


def followed(shop: Shop) -> Followed:
    with shop.store.reading() as connection:
        return follow(connection)


def looked(shop: Shop) -> int:
    """One more entry, of another job; its number."""
    with shop.store.writing() as connection:
        return ledger.append(connection, Looked("housing", ""), subject="job:99", by="A. Bench").seq


def forged(place: Path, statement: str) -> None:
    """Somebody works on the file with a tool of theirs."""
    with sqlite3.connect(place / "records.sqlite") as other:
        for (name,) in other.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
            other.execute(f"DROP TRIGGER {name}")
        other.execute(statement)


def test_what_came_since_is_followed(shop: Shop, tmp_path: Path) -> None:
    shop.ready()
    before = followed(shop)
    assert before.problems == ()
    seq = looked(shop)
    with shop.store.reading() as connection:
        assert problems(connection, before) == ()
    forged(tmp_path, f"UPDATE entries SET by = 'B. Bench' WHERE seq = {seq}")
    with shop.store.reading() as connection:
        (said,) = problems(connection, before)
        assert said.startswith(f"entry {seq} (Looked): it was changed")
        assert problems(connection) == (said,)


def test_what_was_wrong_before_stays_wrong(shop: Shop, tmp_path: Path) -> None:
    shop.ready()
    forged(tmp_path, "UPDATE entries SET by = 'B. Bench' WHERE seq = 3")
    before = followed(shop)
    looked(shop)
    with shop.store.reading() as connection:
        assert problems(connection, before) == before.problems == problems(connection)
    assert before.problems


@pytest.mark.parametrize(
    "statement", ["DELETE FROM entries WHERE seq = {}", "UPDATE entries SET hash = 'x' WHERE seq = {}"]
)
def test_a_ledger_that_is_another_since_is_followed_whole(shop: Shop, tmp_path: Path, statement: str) -> None:
    shop.ready()
    before = followed(shop)
    forged(tmp_path, statement.format(before.seq))
    with shop.store.reading() as connection:
        assert problems(connection, before) == problems(connection) != ()


@pytest.mark.parametrize("forge", [False, True])
def test_a_bench_saves_while_a_release_follows_the_ledger(
    shop: Shop, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, forge: bool
) -> None:
    """Somebody else writes when the ledger has been followed: they are not kept waiting, and what they wrote is
    followed, too."""
    shop.ready()

    def meanwhile(connection: sa.Connection) -> Followed:
        found = follow(connection)
        seq = looked(shop)
        if forge:
            forged(tmp_path, f"UPDATE entries SET by = 'B. Bench' WHERE seq = {seq}")
        return found

    monkeypatch.setattr("rig.records.release.follow", meanwhile)
    monkeypatch.setattr("rig.records.moves.follow", meanwhile)
    if not forge:
        release(shop.store, shop.job, shop.standing, QA)
        moves.ship(shop.store, shop.job, Shipped("parcel"), TECH, shop.today)
        return
    with pytest.raises(RuleError) as caught:
        release(shop.store, shop.job, shop.standing, QA)
    (said,) = caught.value.missing
    assert "it was changed" in said


@pytest.mark.parametrize(
    ("statement", "found"),
    [
        ("UPDATE entries SET by = 'B. Bench' WHERE kind = 'Repaired'", "it was changed"),
        ("UPDATE events SET hash = 'x' WHERE kind = 'RunEnded'", "is not the one that the ledger knows"),
        ("DELETE FROM entries WHERE seq = (SELECT max(seq) FROM entries)", "it was there once"),
        ("UPDATE entries SET by = 'B. Bench' WHERE kind = 'StoreMade'", ""),
    ],
)
def test_one_job_is_followed_by_itself(shop: Shop, tmp_path: Path, statement: str, found: str) -> None:
    """What is wrong elsewhere in the ledger is for those who follow all of it."""
    shop.ready()
    entries = job_of(shop.store, shop.job).entries
    with shop.store.reading() as connection:
        assert follow_one(connection, entries).problems == ()
    forged(tmp_path, statement)
    with shop.store.reading() as connection:
        said = follow_one(connection, job_of(shop.store, shop.job).entries).problems
        assert any(found in one for one in said) if found else said == ()
        assert problems(connection)


def test_what_is_added_while_the_ledger_is_followed_is_no_sign_of_a_cut(
    shop: Shop, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The last entry is noted beside the store; here it is one that the reader's view is too old to have."""
    shop.ready()
    rows = ledger_problems._rows

    def meanwhile(connection: sa.Connection, after: int) -> object:
        found = list(rows(connection, after))
        looked(shop)
        return found

    monkeypatch.setattr(ledger_problems, "_rows", meanwhile)
    assert followed(shop).problems == ()
    monkeypatch.undo()
    assert followed(shop).problems == ()
