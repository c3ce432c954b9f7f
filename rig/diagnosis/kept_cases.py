"""What each job teaches, worked out once: it changes only when something is added to the job, or is read otherwise.

Reading every run of every job for each question would make the thousandth diagnosis slower than the first. What is
kept is a copy and proves nothing: it can be thrown away, and where it cannot be written nothing is lost but time.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import asdict, dataclass
from datetime import datetime

import sqlalchemy as sa

from rig.diagnosis.evidence import Evidence
from rig.diagnosis.learn import Case
from rig.errors import RecordError
from rig.plan.causes import CauseTable
from rig.records import derived, schema
from rig.records.facts import Received, Repaired
from rig.records.faults import guarded
from rig.records.ledger import job_subject
from rig.records.store import Store
from rig.records.upsert import upsert

FORM = "1"  # of what is kept, and of how cases are found: what has another is worked out anew


@dataclass(frozen=True)
class Taught:
    """What a job teaches: ``body`` is its case as JSON, None for nothing. ``seq`` is its last entry then, ``read_by``
    how its runs were read, empty where no table of its complaint was asked for."""

    job: str
    seq: int
    complaint: str
    read_by: str
    body: str | None

    @property
    def case(self) -> Case | None:
        """The case, read back."""
        return None if self.body is None else _case(self.body)


def way_of_reading(table: CauseTable, practice: bool) -> str:
    """Everything outside a job that decides what it teaches, as a hash."""
    told = {name: [source.model_dump(mode="json") for source in o.from_] for name, o in table.observations.items()}
    return hashlib.sha256(json.dumps([FORM, practice, told], sort_keys=True).encode()).hexdigest()


def last_entries(connection: sa.Connection) -> dict[str, int]:
    """By number, the jobs in which something was repaired, in the order in which they came here, and the last entry
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
            return {row.job: Taught(*row) for row in rows}
    return {}


def keep(store: Store, found: Sequence[Taught]) -> None:
    """Keep what was worked out now; whoever may only read works it out each time. No entry of the ledger is added:
    whose turn it is to write there is not waited for."""
    if not found:
        return
    with suppress(RecordError), guarded(store.place), store.engine.connect() as connection, connection.begin():
        derived.make(connection, derived.taught)
        upsert(connection, derived.taught, [asdict(taught) for taught in found])


def plain(case: Case) -> str:
    """A case as JSON."""
    seen = [[e.observation, e.weights, e.words, e.source, sorted(e.cured)] for e in case.seen]
    return json.dumps([case.case, case.when.isoformat(), case.unit, case.complaint, case.causes, seen])


def _case(text: str) -> Case:
    number, when, unit, complaint, causes, seen = json.loads(text)
    found = tuple(Evidence(o, weights, words, source, frozenset(cured)) for o, weights, words, source, cured in seen)
    return Case(number, datetime.fromisoformat(when), unit, complaint, tuple(causes), found)
