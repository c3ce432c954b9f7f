"""The ledger: everything that is kept beside the runs' own events, in one order, in one chain.

A run's beginning and its end are entries of it, too. So a job, a run, an entry that is taken away or changed leaves a
gap in the one chain. What was cut off at its very end leaves none: the last entry is noted beside the store as well
(``anchor.py``), and every signature and backup names the last of its time.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

import sqlalchemy as sa

from rig.records import anchor, schema
from rig.records.canonical import canonical, parsed
from rig.records.chain import BEGINNING, digest
from rig.records.codec import decode_fields, encode_fields
from rig.records.facts import KINDS, Fact
from rig.records.ids import new_run_id


@dataclass(frozen=True)
class Kept:
    """An entry on record. ``by`` is the person, empty where the program itself speaks; ``subject`` is ``job:N``,
    or empty for what concerns the whole store; ``body`` is what it says, as it was written."""

    seq: int
    id: str
    subject: str
    kind: str
    utc: str
    by: str
    body: str
    previous: str
    hash: str
    fact: Fact


def job_subject(job: str) -> str:
    """How the ledger names a job."""
    return f"job:{job}"


def now() -> str:
    """The time of an entry: UTC, ISO 8601."""
    return datetime.now(UTC).isoformat(timespec="milliseconds")


def head_of(connection: sa.Connection) -> tuple[int, str]:
    """Number and hash of the last entry; 0 and the beginning in an empty ledger."""
    e = schema.entries.c
    last = connection.execute(sa.select(e.seq, e.hash).order_by(e.seq.desc()).limit(1)).first()
    return (0, BEGINNING) if last is None else (last.seq, last.hash)


def append(connection: sa.Connection, fact: Fact, *, subject: str = "", by: str = "", utc: str = "") -> Kept:
    """Add one entry, in a transaction that writes."""
    seq, previous = head_of(connection)
    envelope: dict[str, Any] = {
        "seq": seq + 1,
        "id": new_run_id(),
        "subject": subject,
        "kind": type(fact).__name__,
        "utc": utc or now(),
        "by": by,
        "body": encode_fields(fact),
        "previous": previous,
    }
    found = entry_hash(envelope)
    row = envelope | {"body": canonical(envelope["body"]), "hash": found}
    connection.execute(sa.insert(schema.entries).values(**row))
    return kept(row)


def entry_hash(envelope: dict[str, Any]) -> str:
    """SHA-256 over the canonical JSON of an entry, which names the hash before it. Raises ValueError."""
    names = ("seq", "id", "subject", "kind", "utc", "by", "body", "previous")
    return digest(canonical({name: envelope[name] for name in names}))


def kept(row: Any) -> Kept:
    """A row of the table as an entry. Raises ValueError when it says nothing that we know."""
    values = dict(row)
    kind = KINDS.get(values["kind"])
    if kind is None:
        raise ValueError(f"the ledger has an entry of an unknown kind: {values['kind']!r}")
    return Kept(**values, fact=decode_fields(kind, parsed(values["body"])))


def envelope_of(entry: Kept) -> dict[str, Any]:
    """An entry as JSON values, as they stand in a signed record."""
    names = ("seq", "id", "subject", "kind", "utc", "by", "previous", "hash")
    return {name: getattr(entry, name) for name in names} | {"body": parsed(entry.body)}


def entry_from(envelope: dict[str, Any]) -> Kept:
    """The entry of :func:`envelope_of`. Raises ValueError, KeyError."""
    return kept(envelope | {"body": canonical(envelope["body"])})


def read(connection: sa.Connection, subject: str | None = None, kinds: Sequence[type[Fact]] = ()) -> tuple[Kept, ...]:
    """Entries in their order: all, those of one subject, those of some kinds."""
    e = schema.entries.c
    query = sa.select(schema.entries).order_by(e.seq)
    if subject is not None:
        query = query.where(e.subject == subject)
    if kinds:
        query = query.where(e.kind.in_([kind.__name__ for kind in kinds]))
    return tuple(kept(row) for row in connection.execute(query).mappings())


def problems(connection: sa.Connection) -> tuple[str, ...]:
    """What is wrong with the chain, in words; nothing when it holds."""
    rows = connection.execute(sa.select(schema.entries).order_by(schema.entries.c.seq)).mappings()
    found = list(_chain_problems(rows))
    cut = anchor.cut_off(connection)
    found += [cut] if cut else []
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
            if entry_hash(dict(row) | {"body": body}) != row["hash"] or canonical(body) != row["body"]:
                yield f"{name}: it was changed: its hash does not fit what it says"
            kept(row)
        except ValueError as fault:
            yield f"{name}: it cannot be read ({fault})"
        head, expected = row["hash"], seq + 1
    if expected == 1:
        yield "the ledger is empty"


def _run_problems(connection: sa.Connection) -> Iterable[str]:
    """Runs that the ledger does not know, or knows otherwise."""
    from rig.records.facts import RunBegan, RunClosed, StoreMigrated

    heads: dict[str, tuple[int, str] | None] = {}
    for entry in read(connection, kinds=(StoreMigrated, RunBegan, RunClosed)):
        fact = entry.fact
        if isinstance(fact, StoreMigrated):
            heads |= {run: (events, head) for run, events, head in fact.runs}
        elif isinstance(fact, RunBegan):
            heads[fact.run] = None
        elif isinstance(fact, RunClosed):
            heads[fact.run] = (fact.events, fact.head)
    e = schema.events.c
    for run in connection.execute(sa.select(schema.runs.c.run)).scalars():
        if run not in heads:
            yield f"run {run}: the ledger does not know it"
    for run, known in heads.items():
        if known is None:
            kinds = set(connection.execute(sa.select(e.kind).where(e.run == run)).scalars())
            if not kinds:
                yield f"run {run}: it began, and nothing of it is there"
            elif kinds & {"RunEnded", "Interrupted"}:
                yield f"run {run}: it has ended, and the ledger does not know of that"
            continue
        events, head = known
        there = connection.execute(sa.select(e.hash).where(e.run == run, e.seq == events - 1)).scalar()
        if events and there != head:
            yield f"run {run}: its event {events - 1} is missing or is not the one that the ledger knows"
