"""Whether a run is a ground for a release: whole, passed, on a real bench in order, by somebody who may, with the files
and the instruments that count."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta

import sqlalchemy as sa

from rig.events import StepResult
from rig.limits import Verdict
from rig.plan.hand_instruments import NOT_NAMED, is_meant
from rig.plan.rules import ShopRules
from rig.records import ledger
from rig.records.declared import Declared, in_force
from rig.records.facts import FileApproved, RunBegan, RunClosed
from rig.records.findings import RunResults, concession, is_safety
from rig.records.job import Job
from rig.records.people import TECHNICIAN, Person, read_people, same_name


@dataclass(frozen=True)
class Standing:
    """What the rules are asked with. ``bundled`` are the files that come with the rig, by kind and name, as they
    stand now; ``measurable`` are the steps that there are for this unit; None: all."""

    rules: ShopRules
    own: Declared
    today: date
    bundled: dict[tuple[str, str], str] = field(default_factory=dict)
    conditional_pass: Collection[str] = ()
    measurable: Collection[str] | None = None


@dataclass(frozen=True)
class Asked:
    """What has been read of the records to answer with."""

    standing: Standing
    job: Job
    people: dict[str, Person]
    approved: dict[tuple[str, str], FileApproved]
    self_checks: tuple[tuple[ledger.Kept, RunBegan, RunClosed | None], ...]


def asked_of(connection: sa.Connection, standing: Standing, job: Job) -> Asked:
    """Read what the checks of grounds need."""
    wanted = standing.rules.self_check.procedure
    entries = ledger.read(connection, kinds=(RunBegan, RunClosed))
    ends = {entry.fact.run: entry.fact for entry in entries if isinstance(entry.fact, RunClosed)}
    checks = tuple(
        (entry, entry.fact, ends.get(entry.fact.run))
        for entry in entries
        if isinstance(entry.fact, RunBegan) and entry.fact.procedure == wanted
    )
    return Asked(standing, job, read_people(connection, own=False), in_force(connection), checks)


def objections(asked: Asked, result: RunResults) -> Iterator[str]:
    """Why a run is no ground for a release, each reason in words; nothing when it is one."""
    began, received = result.run.began, asked.job.received
    if result.run.closed is None:
        yield "it has no end on record"
        return
    if result.ended is None:
        yield "it was cut off"
    elif not result.ended.all_off:
        yield "not everything was confirmed off at its end"
    if began.simulated and not asked.standing.own.practice:
        yield f"its bench {began.bench} is simulated, and this is a workshop's store"
    if same_name(began.serial) != same_name(received.serial):
        yield f"it was made on serial {began.serial or '(none)'}, the job's unit is {received.serial}"
    if began.unit != received.unit:
        yield f"it was made with profile {began.unit or '(none)'}, the job's is {received.unit}"
    yield from _person(asked, result)
    yield from _files(asked, began)
    yield from _calibration(result)
    yield from _by_hand(result)
    yield from _self_check(asked, result)
    yield from _steps(asked, result)


def _person(asked: Asked, result: RunResults) -> Iterator[str]:
    by = result.run.by
    if not by or not result.run.began.proved:
        yield f"it was run by {by or 'nobody who is named'}, without a PIN"
        return
    person = asked.people.get(same_name(by))
    day = datetime.fromisoformat(result.run.utc).date()
    if person is None or TECHNICIAN not in person.roles_on(day):
        yield f"{by} was no {TECHNICIAN} on {day}"


def _files(asked: Asked, began: RunBegan) -> Iterator[str]:
    if not began.files:
        yield "it is not on record with which files it was run"
    for used in began.files:
        key = (used.kind, used.name)
        approved = asked.approved.get(key)
        bundled = asked.standing.bundled.get(key)
        good = approved.sha256 if approved is not None else bundled
        if good is None:
            yield f"{used.kind} {used.name} was never put in force"
        elif used.sha256 != good:
            yield f"{used.kind} {used.name} was not the one in force"


def _calibration(result: RunResults) -> Iterator[str]:
    """Every dated instrument of the bench must have been in date: a reading may have come from any of them."""
    day = datetime.fromisoformat(result.run.utc).date()
    for instrument in result.run.began.instruments:
        until = instrument.calibrated_until
        if until is not None and day > date.fromisoformat(until):
            yield f"{instrument.name} ({instrument.serial}) was calibrated until {until}, the run was on {day}"


def _by_hand(result: RunResults) -> Iterator[str]:
    """What people read, they read with an instrument whose paper is on record; the unit's own display is none."""
    listed = result.run.began.instruments
    for name, step in result.last().items():
        said = "" if step.reading is None or step.reading.how != "by hand" else step.reading.instrument
        if said and said != NOT_NAMED and not any(is_meant(said, i.name, i.serial) for i in listed):
            yield f"{name} was read with '{said}', which is not on the list of bench {result.run.began.bench}"


def _self_check(asked: Asked, result: RunResults) -> Iterator[str]:
    """The bench's last check of itself before the run must be young enough and passed; a later one must not fail."""
    began, wanted = result.run.began, asked.standing.rules.self_check
    own = [check for check in asked.self_checks if check[1].bench == began.bench]
    before = [check for check in own if check[0].order < result.run.order]
    if not before:
        yield f"bench {began.bench} had no self-check before it"
        return
    entry, _, closed = before[-1]
    age = datetime.fromisoformat(result.run.utc) - datetime.fromisoformat(entry.utc)
    if age > timedelta(seconds=wanted.no_older_than.to("s")):
        yield f"the self-check of bench {began.bench} was older than {wanted.no_older_than}"
    if closed is None or closed.verdict != Verdict.PASS:
        yield f"the self-check of bench {began.bench} before it did not pass"
    later = [check for check in own if check[0].order > result.run.order and check[2] is not None]
    if any(check[2].verdict != Verdict.PASS for check in later if check[2] is not None):
        yield f"a later self-check of bench {began.bench} did not pass"


def _steps(asked: Asked, result: RunResults) -> Iterator[str]:
    judged = result.last()
    if not judged:
        yield "it has no step"
    for name, step in judged.items():
        why = _step(asked, result, step)
        if why:
            yield f"{name}: {why}"


def _step(asked: Asked, result: RunResults, step: StepResult) -> str:
    """Why a step is not good enough, or nothing."""
    if step.verdict is Verdict.PASS:
        return ""
    if step.verdict is Verdict.NOT_EVALUATED and step.limit is None:
        return ""  # the procedure in force says why there is no limit; the paper shows it as not judged
    safety = is_safety(asked.standing.rules, step.name, result.procedure)
    if step.verdict is Verdict.CONDITIONAL_PASS and step.name in asked.standing.conditional_pass and not safety:
        return ""
    if not safety and concession(asked.job, step.name, result.run.order, asked.standing.today) is not None:
        return ""
    allowed = ", which the profile does not allow" if step.verdict is Verdict.CONDITIONAL_PASS else ""
    return f"{step.verdict}{allowed}"
