"""What a bench has to send: its ledger from some entry on, and with each run's end the run itself, whole.

Only what is finished is sent. A run that goes on is known to the shop by its beginning alone, until it has ended.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any

import sqlalchemy as sa

from rig.records import ledger, schema
from rig.records.canonical import parsed
from rig.records.facts import Received, RunBegan, RunClosed, StoreMigrated
from rig.records.interrupted import without_end

ENTRIES, RUNS = 200, 20  # of one parcel, which is one transaction in the shop: about a megabyte, a second at most


@dataclass(frozen=True)
class SentRun:
    """The rows of a run, as they are in the bench's tables."""

    row: dict[str, Any]
    events: list[dict[str, Any]]
    readings: list[dict[str, Any]]


@dataclass(frozen=True)
class SentEntry:
    """A row of the bench's ledger, and the runs that end with it. ``first`` is the id of the first entry about the same
    subject, by which the shop knows a job again; ``serial`` is that of the job's unit, as far as the bench knows."""

    row: dict[str, Any]
    first: str = ""
    serial: str = ""
    runs: list[SentRun] = field(default_factory=list)

    @property
    def envelope(self) -> dict[str, Any]:
        """The entry as it was hashed."""
        return self.row | {"body": parsed(self.row["body"])}


def hash_at(connection: sa.Connection, number: int) -> str | None:
    """The hash of the bench's entry of that number, if it has one."""
    e = schema.entries.c
    found = connection.execute(sa.select(e.hash).where(e.seq == number)).scalar()
    return None if found is None else str(found)


def parcel(connection: sa.Connection, after: int) -> list[SentEntry]:
    """The entries that follow number ``after``, as many as go together; none when there are no more."""
    e = schema.entries.c
    query = sa.select(schema.entries).where(e.seq > after).order_by(e.seq).limit(ENTRIES)
    found: list[SentEntry] = []
    jobs: dict[str, tuple[str, str]] = {}
    runs = 0
    for row in connection.execute(query).mappings().all():
        subject = row["subject"]
        if subject not in jobs:
            jobs[subject] = _job(connection, subject) if subject else ("", "")
        ended = [_run(connection, run) for run in _ended(connection, row)]
        found.append(SentEntry(dict(row), *jobs[subject], ended))
        runs += len(ended)
        if runs >= RUNS:
            break
    return found


def _job(connection: sa.Connection, subject: str) -> tuple[str, str]:
    e = schema.entries.c
    first = connection.execute(sa.select(e.id).where(e.subject == subject).order_by(e.seq).limit(1)).scalar_one()
    serial = ""
    for entry in ledger.read(connection, subject, (Received, RunBegan)):
        if isinstance(entry.fact, Received) or (isinstance(entry.fact, RunBegan) and not serial):
            serial = entry.fact.serial
    return str(first), serial


def _ended(connection: sa.Connection, row: Any) -> Iterator[str]:
    """The runs whose end an entry tells."""
    if row["kind"] not in (RunClosed.__name__, StoreMigrated.__name__):
        return
    fact = ledger.kept(row).fact
    if isinstance(fact, RunClosed):
        yield fact.run
    elif isinstance(fact, StoreMigrated):
        ends = ledger.read(connection, kinds=(RunClosed,))
        later = {entry.fact.run for entry in ends if isinstance(entry.fact, RunClosed)}
        r = schema.runs.c
        there = set(connection.execute(sa.select(r.run)).scalars())
        going = set(without_end(connection))
        yield from (run for run, _, _ in fact.runs if run in there and run not in going and run not in later)


def _run(connection: sa.Connection, run: str) -> SentRun:
    def rows(table: sa.Table) -> list[dict[str, Any]]:
        query = sa.select(table).where(table.c.run == run)
        return [dict(row) for row in connection.execute(query).mappings()]

    by_seq = rows(schema.events)
    return SentRun(rows(schema.runs)[0], sorted(by_seq, key=lambda r: r["seq"]), rows(schema.readings))
