"""Release: everything that must be true, and the signature over what was true.

21 CFR 11.50(a): the signed record has the printed name, date and time, and the meaning of the signature; 11.70: it
cannot be cut out of one record and put into another, since it is over the hashes of the record.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

import sqlalchemy as sa

from rig import __version__
from rig.errors import RuleError
from rig.limits import Verdict
from rig.plan.rules import ShopRules
from rig.records import ledger
from rig.records.canonical import canonical
from rig.records.facts import (
    Adjusted,
    Conceded,
    DataLeft,
    Decontaminated,
    Estimated,
    KeyMade,
    Looked,
    Received,
    Released,
)
from rig.records.findings import RunResults, concession, counts, findings, is_safety, results_of
from rig.records.grounds import Asked, Standing, asked_of, objections
from rig.records.ids import new_run_id
from rig.records.indicators import not_read
from rig.records.job import Job, read_job
from rig.records.keys import sign, signing_key
from rig.records.ledger import job_subject
from rig.records.ledger_problems import Followed, follow, problems
from rig.records.people import QA, Proved, same_name
from rig.records.read import verify
from rig.records.store import Store

if TYPE_CHECKING:
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

TOLD = (Verdict.PASS, Verdict.CONDITIONAL_PASS, Verdict.CONDITIONAL_FAIL, Verdict.FAIL)  # verdicts on a unit
FORM = "release 1"
MEANING = (
    "I have reviewed the records of this job, they are complete, and I release this unit to its owner "
    "(review and approval)."
)


def what_is_missing(
    connection: sa.Connection, number: str, standing: Standing, who: Proved | None, followed: Followed | None = None
) -> tuple[str, ...]:
    """Everything that stands between a job and its release, in words; nothing when it may be released. The ledger is
    followed here, or from where it was ``followed`` before."""
    job = read_job(connection, number)
    asked = asked_of(connection, standing, job)
    results = results_of(connection, job)
    found = [*_job(job, standing), *_grounds(asked, results), *_again(asked, results)]
    against = findings(job, results, standing.rules, standing.today, standing.own.practice)
    found += [f"open finding: {f.what}" for f in against if not f.closed]
    if who is not None:
        found += _independent(job, results, who)
    found += _chains(connection, job, followed)
    return tuple(dict.fromkeys(found))


def _job(job: Job, standing: Standing) -> Iterator[str]:
    if job.closed:
        yield f"the job is closed: {job.closed}"
    if job.last(Decontaminated) is None:
        yield "no decontamination statement"
    if job.last(DataLeft) is None:
        yield "nothing is on record of the owner's data in the unit"
    yield from (f"run {run.run[:13]} has no end on record" for run in job.runs if run.closed is None)
    looked = {fact.item for _, fact in job.all(Looked)}
    yield from (f"not looked at: {item}" for item in standing.rules.look_at if item not in looked)
    yield from not_read(job)
    if job.repairs and job.received.warranty_of is None and job.answer != "approved":
        yield "the owner has not approved the repair" if not job.answer else f"the owner's answer: {job.answer}"
    estimate = job.last(Estimated)
    if estimate is not None and estimate[1].beyond_repair:
        yield "the estimate says: beyond economic repair"


def _since(job: Job) -> tuple[int, str]:
    """From which entry on a run counts, and in words."""
    adjusted = job.order_of_last(Adjusted)
    if job.repairs and job.repairs[-1][0].order > adjusted:
        return job.repairs[-1][0].order, "after the last repair"
    if adjusted:
        return adjusted, "after the last adjustment"
    return job.order_of_last(Received), "in this job"


def ground(job: Job, results: tuple[RunResults, ...], procedure: str) -> RunResults | None:
    """The latest run of a procedure since the last repair: the one that counts, whatever it says."""
    since, _ = _since(job)
    found = [r for r in results if r.procedure == procedure and r.run.order > since]
    return found[-1] if found else None


def still_to_run(job: Job, rules: ShopRules) -> tuple[str, ...]:
    """The procedures that a release needs, and those that repairs ask for again, whose latest run since then is not
    there or has come to no verdict on the unit."""
    since, _ = _since(job)
    wanted = [(name, since) for name in rules.release_needs]
    for entry, repair in job.repairs:
        known = [rules.retest[part.part] for part in repair.parts if part.part in rules.retest]
        wanted += [(name, entry.order) for rule in known for name in rule.procedures]
    return tuple(dict.fromkeys(name for name, after in wanted if not _told(job, name, after)))


def _told(job: Job, procedure: str, after: int) -> bool:
    found = [run for run in job.runs if run.began.procedure == procedure and run.order > after]
    return bool(found) and found[-1].verdict in TOLD


def due(job: Job, rules: ShopRules) -> str:
    """What is to be done next, in a word for people: no release before what it stands on was run."""
    return "verify" if job.due == "release" and still_to_run(job, rules) else job.due


def _grounds(asked: Asked, results: tuple[RunResults, ...]) -> Iterator[str]:
    for procedure in asked.standing.rules.release_needs:
        found = ground(asked.job, results, procedure)
        if found is None:
            yield f"{procedure}: no run {_since(asked.job)[1]}"
            continue
        yield from (f"{procedure}, run {found.run.run[:13]}: {why}" for why in objections(asked, found))


def _again(asked: Asked, results: tuple[RunResults, ...]) -> Iterator[str]:
    """What each repair makes one measure again."""
    job, standing = asked.job, asked.standing
    for entry, repair in job.repairs:
        after = [r for r in results if r.run.order > entry.order]
        for part in repair.parts:
            rule = standing.rules.retest.get(part.part)
            if rule is None:
                yield f"the rules do not know part {part.part}: nothing says what must be measured again"
                continue
            for step in rule.steps:
                if standing.measurable is None or step in standing.measurable:
                    yield from _step_again(asked, after, step, part.part)
            for procedure in rule.procedures:
                whole = [r for r in after if r.procedure == procedure]
                if not whole:
                    yield f"{procedure}: not run after {part.part} was worked on"
                else:
                    yield from (f"{procedure}, run {whole[-1].run.run[:13]}: {w}" for w in objections(asked, whole[-1]))


def _step_again(asked: Asked, after: list[RunResults], step: str, part: str) -> Iterator[str]:
    measured = [(r, r.last()[step]) for r in after if step in r.last()]
    if not measured:
        yield f"{step}: not measured again after {part} was worked on"
        return
    result, last = measured[-1]
    conceded = concession(asked.job, step, result.run.order, asked.standing.today) is not None
    if not counts(asked.job, result, asked.standing.own.practice):
        yield f"{step}: measured again after {part} was worked on, but in a run that does not count"
    elif not last.verdict.good and (is_safety(asked.standing.rules, step, result.procedure) or not conceded):
        yield f"{step}: {last.verdict} after {part} was worked on"


def testers(results: tuple[RunResults, ...]) -> set[str]:
    """Who has run tests of a job or taken a reading by hand, by :func:`same_name`."""
    found = {same_name(r.run.by) for r in results}
    readings = [step.reading for r in results for step in r.steps if step.reading is not None]
    return (found | {same_name(reading.by) for reading in readings}) - {""}


def _independent(job: Job, results: tuple[RunResults, ...], who: Proved) -> Iterator[str]:
    own = same_name(who.name)
    if QA not in who.roles:
        yield f"{who.name} is not {QA} today"
    if own in testers(results):
        yield f"{who.name} has tested this unit: somebody else releases it"
    if own in {same_name(entry.by) for entry, _ in job.repairs}:
        yield f"{who.name} has repaired this unit: somebody else releases it"
    if own in {same_name(entry.by) for entry, _ in job.all(Adjusted)}:
        yield f"{who.name} has adjusted this unit: somebody else releases it"
    if own in {same_name(entry.by) for entry, _ in job.all(Conceded)}:
        yield f"{who.name} has granted a concession in this job: somebody else releases it"


def _chains(connection: sa.Connection, job: Job, followed: Followed | None) -> Iterator[str]:
    yield from (f"the records do not hold: {problem}" for problem in problems(connection, followed))
    for run in job.runs:
        for problem in verify(connection, run.run).problems:
            yield f"the records do not hold: run {run.run[:13]}: {problem}"


def release(store: Store, number: str, standing: Standing, who: Proved) -> Released:
    """Sign. Raises RuleError with everything that is missing, or when a release holds already, and RecordError."""
    key = signing_key(store)
    with store.reading() as connection:
        read_job(connection, number)  # whether there is one is said first
        followed = follow(connection)  # it is long in a large store, and benches write meanwhile
    with store.writing() as connection:
        _refuse_twice(connection, read_job(connection, number), followed)
        missing = what_is_missing(connection, number, standing, who, followed)
        if missing:
            raise RuleError("this unit cannot be released", "", f"job {number}", missing)
        utc = ledger.now()
        fact = _signed(connection, number, standing, who, key, utc)
        ledger.append(connection, fact, subject=job_subject(number), by=who.name, utc=utc)
    return fact


def _refuse_twice(connection: sa.Connection, job: Job, followed: Followed) -> None:
    """A second signature over the same records says nothing new, and two papers of one unit would go about."""
    if job.release is None or job.closed:  # of a closed job that is said
        return
    entry, signed = job.release
    what = (
        f"it is released already: as {signed.number}, signed by {entry.by} on {entry.utc[:10]} at {entry.utc[11:16]} "
        "UTC, and nothing was added since"
    )
    do = "Ship it, or make its certificate. New work on the unit ends the release; QA can withdraw it, with a reason."
    raise RuleError(what, do, f"job {job.number}", tuple(_chains(connection, job, followed)))


def _signed(
    connection: sa.Connection, number: str, standing: Standing, who: Proved, key: Ed25519PrivateKey, utc: str
) -> Released:
    own = standing.own
    known = [entry.fact for entry in ledger.read(connection, kinds=(KeyMade,), own=True)]
    kind = known[-1].kind if isinstance(known[-1], KeyMade) else ""
    if kind != own.kind:
        raise RuleError(f"the key is a {kind} key, the store a {own.kind} one", "", f"job {number}")
    statement = statement_of(connection, number, standing, who.name, utc)
    text = canonical(statement)
    public = key.public_key().public_bytes_raw().hex()
    return Released(statement["number"], text, sign(key, kind, FORM, text.encode()), public)


def statement_of(connection: sa.Connection, number: str, standing: Standing, name: str, utc: str) -> dict[str, Any]:
    """What is signed: which entries and runs, by their hashes, and who says what of them, when."""
    job = read_job(connection, number)
    results = results_of(connection, job)
    seq, head = ledger.head_of(connection)
    earlier = job.last(Released)
    grounds = [ground(job, results, procedure) for procedure in standing.rules.release_needs]
    return {
        "form": FORM,
        "kind": standing.own.kind,
        "store": standing.own.store,
        "workshop": {"name": standing.own.name, "address": standing.own.address},
        "number": f"{number}-{new_run_id()[-12:]}",
        "replaces": earlier[1].number if earlier is not None else None,
        "job": number,
        "serial": job.received.serial,
        "unit": job.received.unit,
        "head": {"seq": seq, "hash": head},
        "entries": [[entry.seq, entry.hash] for entry in job.entries],
        "runs": [[r.run.run, r.run.closed.events, r.run.closed.head] for r in results if r.run.closed is not None],
        "grounds": [r.run.run for r in grounds if r is not None],
        "conditional_pass": sorted(standing.conditional_pass),
        "rules": {"name": standing.rules.shop_rules, "revision": standing.rules.revision},
        "printed": _printed(standing, job),
        "version": __version__,
        "printed_name": name,
        "role": QA,
        "meaning": MEANING,
        "utc": utc,
    }


def _printed(standing: Standing, job: Job) -> dict[str, Any]:
    """What papers take from the shop's rules: it is signed with the rest, so that they can be made anew from it."""
    rules = standing.rules
    parts = {part.part for _, repair in job.repairs for part in repair.parts}
    return {
        "complaint": rules.complaints.get(job.received.complaint, job.received.complaint),
        "parts": {name: rule.part for name, rule in rules.retest.items() if name in parts},
        "look_at": dict(rules.look_at),
        "care": list(rules.care),
        "cautions": list(rules.cautions),
        "next_due": rules.next_check.due(standing.today).isoformat() if rules.next_check is not None else "",
    }
