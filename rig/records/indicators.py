"""What shows that a cycle did its work, and what was adjusted so that it does: indicators with lot, expiry and reader,
whose results may come days later, and adjustments as found and as left."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator
from datetime import date

from rig.errors import InputError, RuleError
from rig.plan.messages import nearest
from rig.quantities import unit
from rig.records import ledger
from rig.records.facts import Adjusted, IndicatorPlaced, IndicatorRead
from rig.records.job import Job, read_job
from rig.records.ledger import Kept, job_subject
from rig.records.people import LEAD, QA, TECHNICIAN, Proved
from rig.records.store import Store

KINDS = ("chemical", "biological")
RESULTS = ("pass", "fail")
_Look = Callable[[Job], Iterable[str]]


def adjust(store: Store, number: str, fact: Adjusted, who: Proved) -> Kept:
    """A sensor or a setting was adjusted. Raises InputError, RuleError."""
    who.must_be(TECHNICIAN)
    for what, text in (("what", fact.what), ("adjusted", fact.adjusted), ("against", fact.reference)):
        if not text.strip():
            raise InputError("an adjustment says of what, how far, and against which instrument", "", f"--{what}")
    try:
        unit(fact.unit)
    except ValueError as error:
        raise InputError(str(error), "Write a unit as in limits: Cel, kPa, V.", "--unit") from error
    if not all(math.isfinite(value) for value in (fact.against, fact.as_found, fact.as_left)):
        raise InputError("as found, as left and the reference are numbers", "", "--as-found")
    return _kept(store, number, fact, who, _closed)


def place(store: Store, number: str, fact: IndicatorPlaced, who: Proved, today: date) -> Kept:
    """An indicator goes in. Raises InputError, RuleError."""
    who.must_be(TECHNICIAN)
    if fact.kind not in KINDS:
        raise InputError(f"there is no kind of indicator {fact.kind!r}{nearest(fact.kind, KINDS)}", "", "--kind")
    if not (fact.label.strip() and fact.lot.strip()):
        raise InputError("an indicator has a label and a lot", "Write them from it and from its box.", "--lot")

    def missing(job: Job) -> Iterable[str]:
        yield from _closed(job)
        if date.fromisoformat(fact.expires) < today:
            yield f"lot {fact.lot} expired on {fact.expires}: it shows nothing any more"
        if fact.label in {old.label for _, old in job.all(IndicatorPlaced)}:
            yield f"indicator {fact.label} is on record already: each has a label of its own"
        if fact.run and fact.run not in {run.run for run in job.runs}:
            yield f"the job has no run {fact.run}"

    return _kept(store, number, fact, who, missing)


def read(store: Store, number: str, fact: IndicatorRead, who: Proved, today: date) -> Kept:
    """What an indicator shows, whenever that is: after the unit has left, too. Raises InputError, RuleError."""
    who.must_be(TECHNICIAN, QA, LEAD)
    if fact.result not in RESULTS:
        raise InputError(f"a result is {' or '.join(RESULTS)}, not {fact.result!r}", "", "RESULT")
    if not fact.reader.strip():
        raise InputError("somebody has read it", "Say who, in the shop or in the laboratory.", "--reader")

    def missing(job: Job) -> Iterable[str]:
        placed = {old.label: (kept, old) for kept, old in job.all(IndicatorPlaced)}
        if fact.label not in placed:
            yield f"no indicator {fact.label!r} was placed in this job{nearest(fact.label, placed)}"
            return
        kept, old = placed[fact.label]
        day = date.fromisoformat(fact.on)
        if not date.fromisoformat(kept.utc[:10]) <= day <= today:
            yield f"it went in on {kept.utc[:10]} and today is {today}: it was not read on {day}"
        if fact.result == "pass" and fact.label in _failed(job):
            yield f"{old.label} is on record with a fail, which stands: place another one"

    return _kept(store, number, fact, who, missing)


def not_read(job: Job) -> Iterator[str]:
    """The indicators whose results are still to come."""
    told = {fact.label for _, fact in job.all(IndicatorRead)}
    for _, fact in job.all(IndicatorPlaced):
        if fact.label not in told:
            yield f"{fact.kind} indicator {fact.label}, lot {fact.lot}: no result yet"


def _failed(job: Job) -> dict[str, Kept]:
    """The labels that failed, each with the entry; one fail outweighs any pass, before or after it."""
    return {fact.label: kept for kept, fact in job.all(IndicatorRead) if fact.result == "fail"}


def failed(job: Job) -> Iterator[tuple[Kept, IndicatorPlaced, bool]]:
    """Each indicator that failed; whether one of its kind, placed after a later repair or adjustment, has passed."""
    bad, read_as = _failed(job), {fact.label: fact.result for _, fact in job.all(IndicatorRead)}
    placed = job.all(IndicatorPlaced)
    for kept, fact in placed:
        if fact.label not in bad:
            continue
        mended = min((order for order in job.mends if order > kept.order), default=None)
        again = [
            other
            for later, other in placed
            if other.kind == fact.kind and read_as.get(other.label) == "pass" and other.label not in bad
            if mended is not None and later.order > mended
        ]
        yield bad[fact.label], fact, bool(again)


def _closed(job: Job) -> Iterator[str]:
    if job.closed:
        yield f"the job is closed: {job.closed}"


def _kept(
    store: Store, number: str, fact: Adjusted | IndicatorPlaced | IndicatorRead, who: Proved, look: _Look
) -> Kept:
    with store.writing() as connection:
        job = read_job(connection, number)
        missing = tuple(look(job))
        if missing:
            raise RuleError("this cannot be kept", "", f"job {number}", missing)
        return ledger.append(connection, fact, subject=job_subject(number), by=who.name)
