"""What stands against a unit: failed steps and what the eye has found, and what has closed each of them."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import date

import sqlalchemy as sa

from rig.events import RunEnded, StepEnded, StepResult
from rig.limits import Verdict
from rig.plan.rules import ShopRules
from rig.records.facts import Conceded, FindingExplained, Looked, Repaired
from rig.records.indicators import failed
from rig.records.job import Job, JobRun
from rig.records.people import same_name
from rig.records.read import events_of

AGAINST_UNIT = (Verdict.FAIL, Verdict.CONDITIONAL_FAIL)
AGAINST_RIG = (Verdict.NO_READING, Verdict.STOPPED)  # never counted against the unit: any later pass closes them
LOOK = "look:"  # before the name of what was looked at
INDICATOR = "indicator:"  # before the label of one that failed


@dataclass(frozen=True)
class RunResults:
    """A run of the job with its steps, all attempts in order, and its end where there is one."""

    run: JobRun
    procedure: str
    steps: tuple[StepResult, ...]
    ended: RunEnded | None

    def last(self) -> dict[str, StepResult]:
        """The last attempt at each step."""
        return {step.name: step for step in self.steps}


@dataclass(frozen=True)
class Finding:
    """``closed`` says by what; empty while it is open."""

    name: str
    what: str
    order: int
    safety: bool
    closed: str = ""


def results_of(connection: sa.Connection, job: Job) -> tuple[RunResults, ...]:
    """The job's runs with their steps."""
    found = []
    for run in job.runs:
        events = events_of(connection, run.run)
        ended = next((e for e in events if isinstance(e, RunEnded)), None)
        steps = tuple(e.result for e in events if isinstance(e, StepEnded))
        found.append(RunResults(run, run.began.procedure, steps, ended))
    return tuple(found)


def is_safety(rules: ShopRules, step: str, procedure: str = "") -> bool:
    """Whether a step stands between a unit and harm, and so is never conceded."""
    return step in rules.never_conceded.steps or procedure in rules.never_conceded.procedures


def concession(job: Job, finding: str, after: int, today: date) -> Conceded | None:
    """The concession of a finding, given after an entry, that still holds."""
    for entry, fact in job.all(Conceded):
        if fact.finding == finding and entry.order > after and today <= date.fromisoformat(fact.until):
            return fact
    return None


def counts(job: Job, result: RunResults, practice: bool) -> bool:
    """Whether a pass in this run can speak for the unit: on it, by somebody who gave a PIN, on a bench that is real."""
    began, received = result.run.began, job.received
    own = same_name(began.serial) == same_name(received.serial) and began.unit == received.unit
    return own and began.proved and (practice or not began.simulated)


def findings(
    job: Job, results: tuple[RunResults, ...], rules: ShopRules, today: date, practice: bool
) -> tuple[Finding, ...]:
    """Every finding of the job, the latest of each name, open ones and closed ones.

    A simulated run is evidence of nothing, unless the store is for ``practice``.
    """
    latest: dict[str, Finding] = {}
    real = tuple(r for r in results if practice or not r.run.began.simulated)
    for found in (*_of_steps(job, real, rules, practice), *_of_the_eye(job, rules), *_of_indicators(job)):
        if found.name not in latest or found.order >= latest[found.name].order:
            latest[found.name] = found
    return tuple(_closed_by_people(job, found, today) for found in latest.values())


def _of_steps(job: Job, results: tuple[RunResults, ...], rules: ShopRules, practice: bool) -> Iterator[Finding]:
    for number, result in enumerate(results):
        for place, step in enumerate(result.steps):
            if step.verdict in AGAINST_UNIT or step.verdict in AGAINST_RIG:
                what = f"{step.name} in {result.procedure}, run {result.run.run[:13]}: {step.verdict}"
                found = Finding(step.name, what, result.run.order, is_safety(rules, step.name, result.procedure))
                later = (result, *(r for r in results[number + 1 :] if counts(job, r, practice)))
                yield _closed_by_pass(job, found, step, later, place)


def _closed_by_pass(job: Job, found: Finding, bad: StepResult, later: tuple[RunResults, ...], place: int) -> Finding:
    """A failed step needs a repair or an adjustment and then a pass: a pass without one is an intermittent fault in
    hiding."""
    mended = min((order for order in job.mends if order > found.order), default=None)
    for number, result in enumerate(later):
        own = result.steps[place + 1 :] if number == 0 else result.steps
        good = [s for s in own if s.name == bad.name and s.verdict in (Verdict.PASS, Verdict.CONDITIONAL_PASS)]
        if good and (bad.verdict in AGAINST_RIG or (mended is not None and result.run.order > mended)):
            how = "repaired or adjusted, and passed" if bad.verdict in AGAINST_UNIT else "measured after all"
            return replace(found, closed=f"{how} in run {result.run.run[:13]}")
    return found


def _of_the_eye(job: Job, rules: ShopRules) -> Iterator[Finding]:
    for entry, fact in job.all(Looked):
        if not fact.finding:
            continue
        found = Finding(LOOK + fact.item, f"{fact.item}: {fact.finding}", entry.order, is_safety(rules, fact.item))
        mended = min((e.order for e, _ in job.all(Repaired) if e.order > entry.order), default=None)
        good = [e for e, f in job.all(Looked) if f.item == fact.item and not f.finding]
        again = mended is not None and any(e.order > mended for e in good)
        yield replace(found, closed="repaired, and looked at again") if again else found


def _of_indicators(job: Job) -> Iterator[Finding]:
    """An indicator that failed says that the unit does not sterilise: never conceded, never explained."""
    for entry, fact, again in failed(job):
        what = f"{fact.kind} indicator {fact.label}, lot {fact.lot}: fail"
        how = "repaired or adjusted, and another one passed" if again else ""
        yield Finding(INDICATOR + fact.label, what, entry.order, True, how)


def _closed_by_people(job: Job, found: Finding, today: date) -> Finding:
    if found.closed or found.safety:
        return found
    for entry, fact in job.all(FindingExplained):
        if fact.finding == found.name and entry.order > found.order:
            return replace(found, closed=f"explained by {entry.by}: {fact.words}")
    conceded = concession(job, found.name, found.order, today)
    if conceded is not None:
        return replace(found, closed=f"conceded until {conceded.until}")
    return found
