"""Evidence and confirmed cases from jobs on record.

A repair stands between what was seen before it and what was seen after. A case is confirmed when everything that was
out of order before the repair and was measured again after the last one is in order, and something was. A cause that
was corrected to ``withdrawn`` teaches nothing any more.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import datetime

from rig.diagnosis.evidence import Evidence
from rig.diagnosis.from_runs import from_run
from rig.diagnosis.kept_cases import Taught, keep, kept, last_entries, plain, way_of_reading
from rig.diagnosis.learn import Case
from rig.events import RunRecord
from rig.plan.causes import CauseTable, Observation
from rig.records.declared import declared
from rig.records.job import WITHDRAWN, Job, job_of
from rig.records.store import Store


@dataclass(frozen=True)
class JobEvidence:
    """What the runs of a job say, oldest first, each with the causes cured before it; ``cured`` are all of them."""

    found: tuple[Evidence, ...]
    cured: tuple[str, ...]


def evidence_of(
    job: Job, observations: Mapping[str, Observation], read: Callable[[str], RunRecord | None]
) -> JobEvidence:
    """The evidence of a job; ``read`` gives a run by its id, if it is here. A run that goes on still says what it has
    said."""
    repairs = [(kept.order, fact.cause) for kept, fact in job.repairs]
    found: list[Evidence] = []
    for run in job.runs:
        before = frozenset(cause for order, cause in repairs if order < run.order and cause != WITHDRAWN)
        record = read(run.run)
        found += from_run(observations, record, before) if record is not None else ()
    return JobEvidence(tuple(found), tuple(dict.fromkeys(c for _, c in repairs if c != WITHDRAWN)))


def abnormal_before(found: Iterable[Evidence]) -> dict[str, Evidence]:
    """What was out of order before the first repair, by observation."""
    return {e.observation: e for e in found if not e.cured and e.outcome != "normal"}


def seen_after(found: Iterable[Evidence], cured: frozenset[str]) -> dict[str, Evidence]:
    """What was seen since the last repair, the latest of each observation."""
    return {e.observation: e for e in found if e.cured == cured} if cured else {}


def confirmed(evidence: JobEvidence) -> bool:
    """Whether the complaint is gone: what was out of order and was looked at again is in order now."""
    again = seen_after(evidence.found, frozenset(evidence.cured))
    looked = [again[name] for name in abnormal_before(evidence.found) if name in again]
    return bool(looked) and all(e.outcome == "normal" for e in looked)


def cases(store: Store, tables: Mapping[str, CauseTable]) -> tuple[Case, ...]:
    """The confirmed cases of a store. Runs of simulated units teach a practice store only."""
    practice = declared(store).practice
    ways = {complaint: way_of_reading(table, practice) for complaint, table in tables.items()}
    with store.reading() as connection:
        last = last_entries(connection)
    before = kept(store)
    found: list[Case] = []
    new: list[Taught] = []
    for number, seq in last.items():
        known = before.get(number)
        if known is None or known.seq != seq or known.read_by != ways.get(known.complaint, known.read_by):
            job = job_of(store, number)
            known = _taught(store, job, seq, tables, ways, practice)
            if all(run.closed is not None for run in job.runs):  # a run that goes on has not said everything
                new.append(known)
        if known.complaint in tables and (case := known.case) is not None:
            found.append(case)
    keep(store, new)
    return tuple(found)


def _taught(
    store: Store, job: Job, seq: int, tables: Mapping[str, CauseTable], ways: Mapping[str, str], practice: bool
) -> Taught:
    complaint = job.received.complaint
    nothing = Taught(job.number, seq, complaint, ways.get(complaint, ""), None)
    table = tables.get(complaint)
    if table is None or not job.repairs:
        return nothing
    if not practice and any(run.began.simulated for run in job.runs):
        return nothing
    evidence = evidence_of(job, table.observations, store.run_if_here)
    if not confirmed(evidence) or not evidence.cured:
        return nothing
    seen = tuple(e for e in evidence.found if not e.cured)
    when = datetime.fromisoformat(job.repairs[-1][0].utc)
    case = Case(job.number, when, job.received.unit, complaint, evidence.cured, seen)
    return replace(nothing, body=plain(case))


__all__ = ["WITHDRAWN", "JobEvidence", "abnormal_before", "cases", "confirmed", "evidence_of", "job_of", "seen_after"]
