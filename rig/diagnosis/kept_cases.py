"""What each job teaches, worked out once: it changes only when something is added to the job, or is read otherwise.

Reading every run of every job for each question would make the thousandth diagnosis slower than the first. What is
kept is a copy: it can be thrown away, and where it cannot be written nothing is lost but time.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable
from contextlib import suppress
from dataclasses import dataclass
from datetime import datetime

import sqlalchemy as sa

from rig.diagnosis.evidence import Evidence
from rig.diagnosis.learn import Case
from rig.errors import RecordError
from rig.plan.causes import CauseTable
from rig.records import derived, schema
from rig.records.facts import Received, Repaired
from rig.records.ledger import job_subject
from rig.records.store import Store
from rig.records.upsert import upsert

FORM = "1"  # of what is kept, and of how cases are found: what has another is worked out anew


@dataclass(frozen=True)
class Taught:
    """What a job teaches: ``case`` is None for nothing. ``seq`` is its last entry then, ``read_by`` how its runs were
    read, empty where no table of its complaint was asked for."""

    job: str
    seq: int
    complaint: str
    read_by: str
    case: Case | None


def way_of_reading(table: CauseTable, practice: bool) -> str:
    """Everything outside a job that decides what it teaches, as a hash."""
    told = {name: [source.model_dump(mode="json") for source in o.from_] for name, o in table.observations.items()}
    return hashlib.sha256(json.dumps([FORM, practice, told], sort_keys=True).encode()).hexdigest()


def last_entries(connection: sa.Connection) -> dict[str, int]:
    """By number, the jobs in which something was repaired, in the order in which they were begun, and the last entry
    of each."""
    e = schema.entries.c
    mended, received = (sa.select(e.subject).where(e.kind == kind.__name__) for kind in (Repaired, Received))
    query = sa.select(e.subject, sa.func.min(e.seq).label("first"), sa.func.max(e.seq))
    query = query.where(e.subject.in_(mended), e.subject.in_(received)).group_by(e.subject).order_by("first")
    rows = connection.execute(query)
    return {subject.removeprefix(job_subject("")): last for subject, _, last in rows}


def kept(store: Store) -> dict[str, Taught]:
    """What was worked out before, by job; nothing where there is none, and for whoever may not read it."""
    t = derived.taught
    with suppress(RecordError), store.reading() as connection:
        if sa.inspect(connection).has_table(t.name):
            rows = connection.execute(sa.select(t.c.job, t.c.seq, t.c.complaint, t.c.read_by, t.c.body))
            return {row.job: Taught(row.job, row.seq, row.complaint, row.read_by, _case(row.body)) for row in rows}
    return {}


def keep(store: Store, found: Iterable[Taught]) -> None:
    """Keep what was worked out now. Whoever may only read works it out each time."""
    rows = [
        {"job": t.job, "seq": t.seq, "complaint": t.complaint, "read_by": t.read_by, "body": _plain(t.case)}
        for t in found
    ]
    if not rows:
        return
    with suppress(RecordError), store.writing() as connection:
        derived.make(connection)
        upsert(connection, derived.taught, rows)


def _plain(case: Case | None) -> str | None:
    if case is None:
        return None
    seen = [[e.observation, e.weights, e.words, e.source, sorted(e.cured)] for e in case.seen]
    return json.dumps([case.case, case.when.isoformat(), case.unit, case.complaint, case.causes, seen])


def _case(text: str | None) -> Case | None:
    if text is None:
        return None
    number, when, unit, complaint, causes, seen = json.loads(text)
    found = tuple(Evidence(o, weights, words, source, frozenset(cured)) for o, weights, words, source, cured in seen)
    return Case(number, datetime.fromisoformat(when), unit, complaint, tuple(causes), found)
