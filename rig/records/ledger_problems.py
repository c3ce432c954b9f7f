"""What is wrong with the ledger: its one chain, the chains of the benches that are gathered in it, and what it knows of
runs and runs know of it."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import sqlalchemy as sa

from rig.records import anchor, ledger, schema
from rig.records.canonical import canonical, parsed
from rig.records.chain import BEGINNING
from rig.records.facts import RunBegan, RunClosed, SetAside, StoreMigrated


def problems(connection: sa.Connection) -> tuple[str, ...]:
    """What is wrong with the ledger, in words: its chain, those of the benches in it, and the ends of runs; nothing
    when all hold."""
    rows = connection.execute(sa.select(schema.entries).order_by(schema.entries.c.seq)).mappings()
    found = list(_chain_problems(rows))
    cut = anchor.cut_off(connection)
    found += [cut] if cut else []
    found += _bench_problems(connection)
    found += _run_problems(connection)
    return tuple(found)


def _chain_problems(rows: Iterable[Any]) -> Iterable[str]:
    head, expected = BEGINNING, 1
    for row in rows:
        seq, name = row["seq"], f"entry {row['seq']} ({row['kind']})"
        if seq != expected:
            yield f"entry {expected}: it is missing, the next is {seq}"
        if row["previous"] != head and seq == expected:
            yield f"{name}: it does not name the hash of the entry before it"
        try:
            body = parsed(row["body"])
            if ledger.entry_hash(dict(row) | {"body": body}) != row["hash"] or canonical(body) != row["body"]:
                yield f"{name}: it was changed: its hash does not fit what it says"
            ledger.kept(row)
        except ValueError as fault:
            yield f"{name}: it cannot be read ({fault})"
        head, expected = row["hash"], seq + 1
    if expected == 1:
        yield "the ledger is empty"


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
    for run, known in heads.items():
        if run in here or run not in to_come:
            yield from _run_as_known(connection, run, known)


def _run_as_known(connection: sa.Connection, run: str, known: tuple[int, str] | None) -> Iterable[str]:
    e = schema.events.c
    if known is None:
        kinds = set(connection.execute(sa.select(e.kind).where(e.run == run)).scalars())
        if not kinds:
            yield f"run {run}: it began, and nothing of it is there"
        elif kinds & {"RunEnded", "Interrupted"}:
            yield f"run {run}: it has ended, and the ledger does not know of that"
        return
    events, head = known
    there = connection.execute(sa.select(e.hash).where(e.run == run, e.seq == events - 1)).scalar()
    if events and there != head:
        yield f"run {run}: its event {events - 1} is missing or is not the one that the ledger knows"
