"""A unit that comes back is compared with what it was like when it left: the as-left readings are its baseline."""

from __future__ import annotations

import math
from dataclasses import dataclass

import sqlalchemy as sa

from rig.events import Reading
from rig.records.findings import results_of
from rig.records.job import Job, find_job
from rig.records.people import same_name

K = 2.0  # coverage factor of an expanded uncertainty (GUM 6.3.3)


@dataclass(frozen=True)
class Compared:
    """One step then and now. ``en`` is the difference over its expanded uncertainty (E_n of ISO 13528, k = 2):
    beyond 1 in either direction the two do not agree. None where one of them has no uncertainty or a bound only."""

    step: str
    unit: str
    as_left: float
    as_found: float
    en: float | None

    @property
    def agrees(self) -> bool | None:
        return None if self.en is None else abs(self.en) <= 1.0


def compared(step: str, left: Reading, found: Reading) -> Compared | None:
    """Two readings of one step; None when they are of different units."""
    if left.unit != found.unit:
        return None
    spread = K * math.hypot(left.u, found.u)
    bounded = left.bound is not None or found.bound is not None
    en = None if bounded or spread == 0 else (found.value - left.value) / spread
    return Compared(step, left.unit, left.value, found.value, en)


def baseline(connection: sa.Connection, job: Job) -> tuple[Compared, ...]:
    """A warranty job's readings as found against those of the earlier job as left, for every step that both have."""
    number = job.received.warranty_of
    earlier = None if number is None else find_job(connection, number)
    if earlier is None or same_name(earlier.received.serial) != same_name(job.received.serial):
        return ()  # at a shop that number may be another bench's, or not have come yet
    left, found = _readings(connection, earlier, last=True), _readings(connection, job, last=False)
    pairs = (compared(step, left[step], found[step]) for step in found if step in left)
    return tuple(pair for pair in pairs if pair is not None)


def _readings(connection: sa.Connection, job: Job, last: bool) -> dict[str, Reading]:
    """Of each step the last reading of a job, or the first: before any repair."""
    found: dict[str, Reading] = {}
    mended = min((entry.order for entry, _ in job.repairs), default=None)
    for result in results_of(connection, job):
        if not last and mended is not None and result.run.order > mended:
            break
        for step in result.steps:
            if step.reading is not None and (last or step.name not in found):
                found[step.name] = step.reading
    return found
