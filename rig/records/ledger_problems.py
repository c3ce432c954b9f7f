"""What is wrong with the ledger: its one chain, the chains of the benches that are gathered in it, and what it knows of
runs and runs know of it."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

import sqlalchemy as sa

from rig.records import anchor, ledger, schema
from rig.records.canonical import canonical, parsed
from rig.records.chain import BEGINNING
from rig.records.facts import RunBegan, RunClosed, SetAside, StoreMigrated

AT_ONCE = 100  # runs asked for in one query


@dataclass(frozen=True)
class Followed:
    """The whole ledger as it was followed: its last entry then, and what was wrong, in words."""

    seq: int
    head: str
    problems: tuple[str, ...]


def follow(connection: sa.Connection) -> Followed:
    """Follow the whole ledger: its chain, those of the benches in it, and the ends of runs. Its time grows with the
    records, so whoever goes on to write does this in a transaction before, while the benches go on saving."""
    seq, head = ledger.head_of(connection)
    found = [*_chain_problems(_rows(connection, 0), BEGINNING, 1)]
    found += [] if seq else ["the ledger is empty"]
    cut = anchor.cut_off(connection)
    found += [cut] if cut else []
    found += _bench_problems(connection)
    found += _run_problems(connection)
    return Followed(seq, head, tuple(found))


def problems(connection: sa.Connection, followed: Followed | None = None) -> tuple[str, ...]:
    """What is wrong with the ledger, in words; nothing when all holds. Of what was ``followed`` before, only the links
    that were added since are followed now."""
    if followed is None:
        return follow(connection).problems
    there = connection.execute(sa.select(schema.entries.c.hash).where(schema.entries.c.seq == followed.seq)).scalar()
    if there != followed.head:
        return follow(connection).problems
    since = _chain_problems(_rows(connection, followed.seq), followed.head, followed.seq + 1)
    return (*followed.problems, *since)


def follow_one(connection: sa.Connection, entries: Sequence[ledger.Kept]) -> Followed:
    """What is wrong with some entries, each taken by itself, and with the ends of their runs: in a large store this
    takes no longer than in a small one. What is missing between them only ``follow`` finds."""
    e = schema.entries.c
    rows = connection.execute(sa.select(schema.entries).where(e.seq.in_([entry.seq for entry in entries])))
    found = [said for row in rows.mappings() for said in _chain_problems([row], row["previous"], row["seq"])]
    cut = anchor.cut_off(connection)
    found += [cut] if cut else []
    ends: dict[str, tuple[int, str] | None] = {}
    for entry in entries:
        if isinstance(entry.fact, RunClosed):
            ends[entry.fact.run] = (entry.fact.events, entry.fact.head)
    found += _runs_as_known(connection, list(ends.items()))
    return Followed(*ledger.head_of(connection), tuple(found))


def _rows(connection: sa.Connection, after: int) -> Iterable[Any]:
    e = schema.entries.c
    query = sa.select(schema.entries).where(e.seq > after).order_by(e.seq).execution_options(yield_per=1000)
    return connection.execute(query).mappings()


def _chain_problems(rows: Iterable[Any], head: str, expected: int) -> Iterable[str]:
    for row in rows:
        seq, name = row["seq"], f"entry {row['seq']} ({row['kind']})"
        if seq != expected:
            yield f"entry {expected}: it is missing, the next is {seq}"
        if row["previous"] != head and seq == expected:
            yield f"{name}: it does not name the hash of the entry before it"
        try:
            body = parsed(row["body"])
            text = canonical(body)
            if text != row["body"] or ledger.entry_hash(dict(row), text) != row["hash"]:
                yield f"{name}: it was changed: its hash does not fit what it says"
            ledger.kept(row)
        except ValueError as fault:
            yield f"{name}: it cannot be read ({fault})"
        head, expected = row["hash"], seq + 1


def _bench_problems(connection: sa.Connection) -> Iterable[str]:
    """The chain of each bench, followed by itself: it may have branches where a bench was put back, but no gap."""
    g = schema.gathered.c
    where = [g[name].label(f"at_{name}") for name in ("store", "number", "subject", "previous", "hash")]
    query = sa.select(schema.entries, *where).join(schema.gathered, g.seq == schema.entries.c.seq)
    seen: dict[str, dict[str, int]] = {}
    for row in connection.execute(query.where(g.store != "").order_by(g.seq)).mappings():
        name = f"bench {row['at_store'][:13]}, its entry {row['at_number']}"
        before = seen.setdefault(row["at_store"], {BEGINNING: 0})
        if before.get(row["at_previous"]) != row["at_number"] - 1:
            yield f"{name}: it does not follow on one that is here"
        try:
            if ledger.entry_hash(_at_bench(row)) != row["at_hash"]:
                yield f"{name}: it was changed: its hash does not fit what it says"
        except (ValueError, KeyError) as fault:
            yield f"{name}: it cannot be read ({fault})"
        before[row["at_hash"]] = row["at_number"]


def _at_bench(row: Any) -> dict[str, Any]:
    """An entry as its bench has hashed it."""
    body = parsed(row["body"])
    if row["kind"] == SetAside.__name__:
        return parsed(body["entry"])
    said = {name: row[name] for name in ("id", "kind", "utc", "by")} | {"body": body}
    return said | {"seq": row["at_number"], "subject": row["at_subject"], "previous": row["at_previous"]}


def _run_problems(connection: sa.Connection) -> Iterable[str]:
    """Runs that the ledger does not know, or knows otherwise."""
    heads: dict[str, tuple[int, str] | None] = {}
    to_come: set[str] = set()  # of benches: they come when they have ended
    for entry in ledger.read(connection, kinds=(StoreMigrated, RunBegan, RunClosed)):
        fact, came = entry.fact, entry.came is not None
        if isinstance(fact, StoreMigrated):
            heads |= {run: (events, head) for run, events, head in fact.runs}
            to_come |= {run for run, _, _ in fact.runs} if came else set()
        elif isinstance(fact, RunBegan):
            heads[fact.run] = None
            to_come |= {fact.run} if came else set()
        elif isinstance(fact, RunClosed):
            heads[fact.run] = (fact.events, fact.head)
            to_come.discard(fact.run)
    here = set(connection.execute(sa.select(schema.runs.c.run)).scalars())
    yield from (f"run {run}: the ledger does not know it" for run in sorted(here - heads.keys()))
    yield from _runs_as_known(connection, [(r, known) for r, known in heads.items() if r in here or r not in to_come])


def _runs_as_known(connection: sa.Connection, asked: Sequence[tuple[str, tuple[int, str] | None]]) -> Iterable[str]:
    e = schema.events.c
    for first in range(0, len(asked), AT_ONCE):
        some = asked[first : first + AT_ONCE]
        ends = [(run, known[0] - 1) for run, known in some if known is not None]
        each = (sa.and_(e.run == run, e.seq == seq) for run, seq in ends)  # SQLite has no index for "(run, seq) IN"
        query = sa.select(e.run, e.seq, e.hash).where(sa.or_(sa.false(), *each))
        there = {(run, seq): head for run, seq, head in connection.execute(query)}
        for run, known in some:
            if known is None:
                yield from _open_run(connection, run)
            elif known[0] and there.get((run, known[0] - 1)) != known[1]:
                yield f"run {run}: its event {known[0] - 1} is missing or is not the one that the ledger knows"


def _open_run(connection: sa.Connection, run: str) -> Iterable[str]:
    """A run of which the ledger knows the beginning alone."""
    e = schema.events.c
    kinds = set(connection.execute(sa.select(e.kind).where(e.run == run)).scalars())
    if not kinds:
        yield f"run {run}: it began, and nothing of it is there"
    elif kinds & {"RunEnded", "Interrupted"}:
        yield f"run {run}: it has ended, and the ledger does not know of that"
