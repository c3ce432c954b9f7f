"""The moves in the life of a job. Each says who may make it and what must be on record before; a refusal names all of
that which is missing. A move is one entry, or none."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable
from datetime import date

import sqlalchemy as sa

from rig.errors import InputError, RuleError
from rig.plan.messages import nearest
from rig.plan.rules import ShopRules
from rig.records import ledger
from rig.records.declared import Declared
from rig.records.facts import (
    Conceded,
    Corrected,
    DataLeft,
    Decontaminated,
    Diagnosed,
    Estimated,
    Fact,
    FindingExplained,
    Looked,
    OwnerAnswered,
    Received,
    ReleaseWithdrawn,
    Repaired,
    ReturnedUnrepaired,
    Scrapped,
    Shipped,
)
from rig.records.findings import findings, is_safety, results_of
from rig.records.job import CORRECTABLE, Job, corrected, find_job, job_numbers, read_job, read_jobs
from rig.records.ledger import Kept, job_subject
from rig.records.ledger_problems import follow, problems
from rig.records.people import LEAD, QA, ROLES, TECHNICIAN, Proved, same_name
from rig.records.store import Store

_WORD = re.compile(r"[a-z][a-z0-9]*(-[a-z0-9]+)*")
Look = Callable[[sa.Connection, Job], Iterable[str]]


def receive(
    store: Store, fact: Received, rules: ShopRules, who: Proved, number: str = "", more: Iterable[Fact] = ()
) -> str:
    """Take a unit in, with what is said of it at once; the number of the new job.

    ``number`` is given where the shop counts its jobs elsewhere. Raises InputError, RuleError.
    """
    who.must_be(*ROLES)
    _one_of("complaint", fact.complaint, rules.complaints)
    if not fact.serial.strip():
        raise InputError("a unit is received by its serial number", "Type or scan it.", "--serial")
    with store.writing() as connection:
        numbers = job_numbers(connection)
        new = number.strip() or _next(numbers)
        if new in numbers:
            raise RuleError(f"job {new} is on record already", "Leave the number out, or give another.", "--job")
        missing = [*_not_here_yet(connection, fact), *_warranty(connection, fact)]
        if missing:
            raise RuleError("this unit cannot be received", "", fact.serial, tuple(missing))
        ledger.append(connection, fact, subject=job_subject(new), by=who.name)
        for one in more:
            _must_fit(one, rules)
            ledger.append(connection, one, subject=job_subject(new), by=who.name)
    return new


def _next(numbers: Iterable[str]) -> str:
    return str(max((int(n) for n in numbers if n.isascii() and n.isdecimal()), default=0) + 1)


def _not_here_yet(connection: sa.Connection, fact: Received, own: str = "") -> Iterable[str]:
    others = (j for j in read_jobs(connection, still_open=True, serial=fact.serial) if j.number != own)
    for job in others:
        yield f"the unit is here already, as job {job.number} (next: {job.due})"


def _warranty(connection: sa.Connection, fact: Received) -> Iterable[str]:
    if fact.warranty_of is None:
        return
    earlier = find_job(connection, fact.warranty_of)
    if earlier is None:
        yield f"there is no job {fact.warranty_of}"
    elif earlier.closed != "shipped":
        yield f"job {fact.warranty_of} was not shipped ({earlier.closed or earlier.stage}): there is no warranty on it"
    elif same_name(earlier.received.serial) != same_name(fact.serial):
        yield f"job {fact.warranty_of} was on serial {earlier.received.serial}"


def _must_fit(fact: Fact, rules: ShopRules) -> None:
    """Raises InputError, RuleError for what no entry may say."""
    if isinstance(fact, Decontaminated):
        _one_of("way", fact.how, ("declaration", "workshop"))
        if not fact.signed_by.strip():
            raise RuleError("a decontamination statement has a name under it", "Say who signed it.", "--signed-by")
    elif isinstance(fact, DataLeft):
        _one_of("word", fact.done, ("none", "left", "copied", "erased"))
        if fact.done in ("copied", "erased") and not fact.consent.strip():
            do = "Ask the owner, and say who agreed and how; or leave the data alone."
            raise RuleError(f"the owner's data are {fact.done} only with consent", do, "--consent")
    elif isinstance(fact, Looked):
        _one_of("thing to look at", fact.item, rules.look_at)
    elif isinstance(fact, OwnerAnswered):
        _one_of("answer", fact.answer, ("approved", "refused", "scrap"))
    elif isinstance(fact, Estimated):
        if not 0 <= fact.price < 1e9:
            raise InputError("a price is a number from 0 up", "Write it without the currency.", "--price")
    elif isinstance(fact, Repaired):
        _must_be_word("cause", fact.cause)
        _must_be_minutes(fact.minutes)
        if not fact.parts:
            raise InputError("a repair names what was worked on", "Name the part; 'cleaning' where none was fitted.")
        for part in fact.parts:
            _one_of("part", part.part, rules.retest)
            _one_of("condition", part.condition, ("new", "used", "none"))
            if part.condition != "none" and not part.lot.strip():
                raise InputError(
                    f"{part.part}: a part that was fitted has a lot or serial", "Write both: rectifier=L2291.", "--part"
                )
    elif isinstance(fact, Diagnosed):
        _must_be_word("cause", fact.cause)


def _must_be_minutes(minutes: float) -> None:
    if not 0 < minutes <= 60 * 24 * 30:
        raise InputError("a repair takes more than no minutes and less than a month", "", "--minutes")


def _must_be_word(what: str, word: str) -> None:
    if not _WORD.fullmatch(word):
        raise InputError(f"{word!r} is no name of a {what}", "Small letters, digits and hyphens: rectifier-open.", what)


def _one_of(what: str, word: str, known: Iterable[str]) -> None:
    words = list(known)
    if word not in words:
        raise InputError(f"there is no {what} {word!r}{nearest(word, words)}", f"Known: {', '.join(words)}.", what)


def _move(
    store: Store,
    number: str,
    fact: Fact,
    who: Proved,
    rules: ShopRules | None,
    what: str,
    look: Look,
    closed_too: bool = False,
) -> Kept:
    """Add an entry to a job after ``look`` has found nothing missing."""
    if rules is not None:
        _must_fit(fact, rules)
    with store.writing() as connection:
        job = read_job(connection, number)
        missing = [*(() if closed_too else _open(job)), *look(connection, job)]
        if missing:
            raise RuleError(what, "", f"job {number}", tuple(missing))
        return ledger.append(connection, fact, subject=job_subject(number), by=who.name)


def _open(job: Job) -> Iterable[str]:
    if job.closed:
        yield f"the job is closed: {job.closed}"


def _nothing(connection: sa.Connection, job: Job) -> Iterable[str]:
    return ()


def note(store: Store, number: str, fact: Decontaminated | DataLeft | Looked, rules: ShopRules, who: Proved) -> Kept:
    """A decontamination statement, what became of the owner's data, something looked at."""
    who.must_be(*ROLES)
    return _move(store, number, fact, who, rules, "this cannot be noted", _nothing)


def may_reach_bench(job: Job) -> tuple[str, ...]:
    """What keeps a job's unit from the bench."""
    missing = list(_open(job))
    if job.last(Decontaminated) is None:
        missing.append("no decontamination statement: treat the unit as contaminated")
    return tuple(missing)


def diagnose(store: Store, number: str, fact: Diagnosed, rules: ShopRules, who: Proved) -> Kept:
    """The cause, named by a person."""
    who.must_be(TECHNICIAN, LEAD)

    def look(connection: sa.Connection, job: Job) -> Iterable[str]:
        yield from may_reach_bench(job)
        seen = any(fact.finding for _, fact in job.all(Looked))
        if not seen and not any(run.closed for run in job.runs):
            yield "the unit was not inspected as found: no run, and no finding of the eye"

    return _move(store, number, fact, who, rules, "no cause can be named yet", look)


def estimate(store: Store, number: str, fact: Estimated, rules: ShopRules, who: Proved) -> Kept:
    """What it would cost, or that it is not worth it."""
    who.must_be(TECHNICIAN, LEAD)

    def look(connection: sa.Connection, job: Job) -> Iterable[str]:
        if job.last(Diagnosed) is None:
            yield "no cause is named"

    return _move(store, number, fact, who, rules, "no estimate can be made yet", look)


def answer(store: Store, number: str, fact: OwnerAnswered, rules: ShopRules, who: Proved) -> Kept:
    """What the owner says to the estimate."""
    who.must_be(*ROLES)
    if not fact.who.strip():
        raise InputError("an answer is somebody's", "Say who of the owner's side gave it.", "--owner")

    def look(connection: sa.Connection, job: Job) -> Iterable[str]:
        found = job.last(Estimated)
        if found is None:
            yield "there is no estimate to answer"
        elif found[1].beyond_repair and fact.answer == "approved":
            yield "the estimate says: beyond economic repair"

    return _move(store, number, fact, who, rules, "this answer has no estimate", look)


def repair(store: Store, number: str, fact: Repaired, rules: ShopRules, who: Proved) -> Kept:
    """What was done, with which parts, and the cause that it confirmed."""
    who.must_be(TECHNICIAN)

    def look(connection: sa.Connection, job: Job) -> Iterable[str]:
        yield from may_reach_bench(job)
        if job.last(Diagnosed) is None:
            yield "no cause is named"
        found = job.last(Estimated)
        if found is not None and found[1].beyond_repair:
            yield "the estimate says: beyond economic repair"
        if job.received.warranty_of is not None and found is None:
            return  # at the workshop's cost
        if job.answer != "approved":
            yield "the owner has not approved an estimate" if not job.answer else f"the owner's answer: {job.answer}"

    return _move(store, number, fact, who, rules, "this repair has no ground", look)


def explain(
    store: Store, number: str, fact: FindingExplained, rules: ShopRules, who: Proved, own: Declared, today: date
) -> Kept:
    """Why an open finding is none of the unit's any more: a cause at the site, an error of the test."""
    who.must_be(LEAD)
    return _about_finding(store, number, fact, rules, who, own, today, "this finding cannot be explained away")


def concede(
    store: Store, number: str, fact: Conceded, rules: ShopRules, who: Proved, own: Declared, today: date
) -> Kept:
    """Release despite one finding, until a day. Never a safety one."""
    who.must_be(LEAD)
    if date.fromisoformat(fact.until) < today:
        raise InputError(f"{fact.until} has passed", "A concession ends on a day to come.", "--until")
    return _about_finding(store, number, fact, rules, who, own, today, "this cannot be conceded")


def _about_finding(
    store: Store,
    number: str,
    fact: FindingExplained | Conceded,
    rules: ShopRules,
    who: Proved,
    own: Declared,
    today: date,
    what: str,
) -> Kept:
    reason = fact.words if isinstance(fact, FindingExplained) else fact.reason
    if not reason.strip():
        raise InputError("this needs a reason in words", "Write why.", "--reason")

    def look(connection: sa.Connection, job: Job) -> Iterable[str]:
        results = results_of(connection, job)
        against = {f.name: f for f in findings(job, results, rules, today, own.practice)}
        known = {name: r.procedure for r in results for name in r.last()}
        found = against.get(fact.finding)
        if found is None and (isinstance(fact, FindingExplained) or fact.finding not in known):
            words = [*against, *known]
            yield f"there is no finding {fact.finding!r}{nearest(fact.finding, words)}"
        elif (found is not None and found.safety) or is_safety(rules, fact.finding, known.get(fact.finding, "")):
            yield f"{fact.finding} is a safety step: it is repaired and passed, or the unit is not released"

    return _move(store, number, fact, who, rules, what, look)


def correct(store: Store, number: str, fact: Corrected, rules: ShopRules, who: Proved) -> Kept:
    """Say what an entry should have said; of a unit that has left, its cause, since that is known better when it comes
    back. Raises InputError, RuleError."""
    who.must_be(*ROLES)
    if not fact.reason.strip():
        raise InputError("a correction needs a reason", "Write why.", "--reason")

    def look(connection: sa.Connection, job: Job) -> Iterable[str]:
        wrong = [e for e in job.entries if e.id == fact.entry]
        if not wrong:
            yield f"the job has no entry {fact.entry}"
            return
        if fact.field != "cause":
            yield from _open(job)
        fields = CORRECTABLE.get(type(wrong[0].fact), ())
        if fact.field not in fields:
            what = f"{', '.join(fields)} can be corrected" if fields else "say it anew instead"
            yield f"{fact.field} of {wrong[0].kind} is not corrected: {what}"
        elif isinstance(getattr(wrong[0].fact, fact.field), float) and not _is_number(fact.value):
            yield f"{fact.field} is a number, not {fact.value!r}"
        elif not fact.value.strip():
            yield f"{fact.field} cannot become nothing"
        else:
            right = corrected(wrong[0], fact)
            if fact.field == "cause":
                _must_be_word("cause", fact.value)
            elif fact.field == "complaint":
                _one_of("complaint", fact.value, rules.complaints)
            elif isinstance(right, Repaired) and fact.field == "minutes":
                _must_be_minutes(right.minutes)
            elif isinstance(right, Received) and fact.field == "serial":
                yield from (*_not_here_yet(connection, right, job.number), *_warranty(connection, right))

    return _move(store, number, fact, who, None, "this cannot be corrected so", look, closed_too=True)


def _is_number(text: str) -> bool:
    try:
        return 0 < float(text) < 1e9
    except ValueError:
        return False


def withdraw(store: Store, number: str, fact: ReleaseWithdrawn, who: Proved) -> Kept:
    """Take a release back before the unit has left; with it its papers hold no more. Raises InputError, RuleError."""
    who.must_be(QA)
    if not fact.reason.strip():
        raise InputError("a release is withdrawn for a reason", "Write why.", "--reason")

    def look(connection: sa.Connection, job: Job) -> Iterable[str]:
        if job.unreleased:
            yield job.unreleased
        elif job.release is not None and job.release[1].number != fact.number:
            yield f"the release that holds is {job.release[1].number}"

    return _move(store, number, fact, who, None, "this release cannot be withdrawn", look)


def ship(store: Store, number: str, fact: Shipped, who: Proved, today: date) -> Kept:
    """Out of the door, on a release that still holds."""
    who.must_be(*ROLES)
    with store.reading() as reading:
        followed = None if read_job(reading, number).unreleased else follow(reading)

    def look(connection: sa.Connection, job: Job) -> Iterable[str]:
        if job.unreleased:
            yield job.unreleased
            return
        for _, conceded in job.all(Conceded):
            if date.fromisoformat(conceded.until) < today:
                yield f"the concession of {conceded.finding} ended on {conceded.until}"
        yield from (f"the records do not hold: {problem}" for problem in problems(connection, followed))

    return _move(store, number, fact, who, None, "this unit cannot be shipped", look)


def give_back(store: Store, number: str, fact: ReturnedUnrepaired, who: Proved) -> Kept:
    """Back to the owner as it came."""
    who.must_be(*ROLES)

    def look(connection: sa.Connection, job: Job) -> Iterable[str]:
        if job.answer != "refused":
            yield f"the owner's answer is {job.answer or 'missing'}: a unit goes back unrepaired when the owner refuses"

    return _move(store, number, fact, who, None, "this unit cannot be returned unrepaired", look)


def scrap(store: Store, number: str, fact: Scrapped, who: Proved) -> Kept:
    """To scrap, with the owner's word."""
    who.must_be(LEAD)

    def look(connection: sa.Connection, job: Job) -> Iterable[str]:
        if job.answer != "scrap":
            yield f"the owner's answer is {job.answer or 'missing'}: a unit is the owner's, and scrapped on that word"

    return _move(store, number, fact, who, None, "this unit cannot be scrapped", look)
