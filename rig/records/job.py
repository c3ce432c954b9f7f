"""One job, put together from its entries: what is on record, corrected where somebody has corrected it."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from typing import TypeVar

import sqlalchemy as sa

from rig.errors import InputError
from rig.records import ledger, schema
from rig.records.canonical import parsed
from rig.records.facts import (
    Adjusted,
    Corrected,
    DataLeft,
    Decontaminated,
    Diagnosed,
    Estimated,
    Fact,
    OwnerAnswered,
    PaperIssued,
    Received,
    Released,
    ReleaseWithdrawn,
    Repaired,
    ReturnedUnrepaired,
    RunBegan,
    RunClosed,
    Scrapped,
    Shipped,
)
from rig.records.ledger import Kept, job_subject
from rig.records.people import same_name
from rig.records.store import Store

F = TypeVar("F", bound=Fact)

# What may be corrected by an entry that names it. What has a meaning of its own (a verdict, an answer, a release, a
# finding) is not: that is said anew, and both stand.
CORRECTABLE: dict[type[Fact], tuple[str, ...]] = {
    Received: ("serial", "owner", "complaint", "words"),
    Decontaminated: ("signed_by", "words"),
    DataLeft: ("consent",),
    Diagnosed: ("cause", "words"),
    Estimated: ("words",),
    Repaired: ("words", "minutes", "cause"),
}
WITHDRAWN = "withdrawn"  # what a cause is corrected to that was none: it teaches nothing any more
CLOSES = {Shipped: "shipped", ReturnedUnrepaired: "returned unrepaired", Scrapped: "scrapped"}


@dataclass(frozen=True)
class JobRun:
    """A run of the job. ``verdict`` is None while it goes on, and where it was cut off."""

    order: int
    utc: str
    by: str
    began: RunBegan
    closed: RunClosed | None

    @property
    def run(self) -> str:
        return self.began.run

    @property
    def verdict(self) -> str | None:
        return None if self.closed is None else self.closed.verdict


@dataclass(frozen=True)
class Job:
    """A job. ``entries`` are as they were written, ``current`` with what was corrected since."""

    number: str
    entries: tuple[Kept, ...]
    current: tuple[Kept, ...]

    def all(self, kind: type[F]) -> list[tuple[Kept, F]]:
        """The entries of a kind, each with what it says now."""
        return [(entry, entry.fact) for entry in self.current if isinstance(entry.fact, kind)]

    def last(self, kind: type[F]) -> tuple[Kept, F] | None:
        """The latest entry of a kind."""
        found = self.all(kind)
        return found[-1] if found else None

    def order_of_last(self, *kinds: type[Fact]) -> int:
        """Where the latest entry of some kinds stands; 0 where there is none."""
        return max((e.order for e in self.entries if isinstance(e.fact, kinds)), default=0)

    @property
    def received(self) -> Received:
        found = self.last(Received)
        assert found is not None  # a job begins with it
        return found[1]

    @property
    def repairs(self) -> list[tuple[Kept, Repaired]]:
        return self.all(Repaired)

    @property
    def mends(self) -> list[int]:
        """Where work on the unit stands that may have cured it: repairs and adjustments."""
        return [entry.order for entry in self.current if isinstance(entry.fact, (Repaired, Adjusted))]

    @property
    def runs(self) -> list[JobRun]:
        """The job's runs since it was received, in the order in which they began."""
        ends = {fact.run: fact for _, fact in self.all(RunClosed)}
        return [JobRun(e.order, e.utc, e.by, fact, ends.get(fact.run)) for e, fact in self.all(RunBegan)]

    @property
    def closed(self) -> str:
        """How the job ended; empty while it goes on."""
        return next((word for kind, word in CLOSES.items() if self.last(kind) is not None), "")

    @property
    def release(self) -> tuple[Kept, Released] | None:
        """The release, if nothing has happened since that it does not cover."""
        found = self.last(Released)
        if found is None:
            return None
        covered = [e.id for e in self.entries if self.covers(found[0], e)]
        after = [e for e in self.entries if e.id not in covered and not isinstance(e.fact, (PaperIssued, *CLOSES))]
        left = self.order_of_last(*CLOSES) if self.closed else None
        late = [e.id for e in after if left is not None and isinstance(e.fact, Corrected) and e.order > left]
        return None if [e for e in after if e.id != found[0].id and e.id not in late] else found

    @staticmethod
    def covers(release: Kept, entry: Kept) -> bool:
        """Whether an entry was there when a release was signed: at a bench that bench's own, at a desk whatever had
        come by then."""
        if release.came is None:
            return entry.seq < release.seq
        here = entry.came
        return here is not None and here.store == release.came.store and here.number < release.came.number

    @property
    def has_been_released(self) -> bool:
        """Whether it ever was, for whatever has come since."""
        return self.last(Released) is not None

    @property
    def releases(self) -> list[tuple[Kept, Released]]:
        """Every release that nobody has withdrawn, the earliest first, for whatever has come since."""
        withdrawn = {fact.number for _, fact in self.all(ReleaseWithdrawn)}
        return [(entry, fact) for entry, fact in self.all(Released) if fact.number not in withdrawn]

    @property
    def unreleased(self) -> str:
        """Why no release holds, in words; empty while one does."""
        last, withdrawn = self.last(Released), self.last(ReleaseWithdrawn)
        if last is None:
            return "it is not released"
        if withdrawn is not None and withdrawn[1].number == last[1].number:
            return f"its release was withdrawn by {withdrawn[0].by}: {withdrawn[1].reason}"
        return "" if self.release is not None else "something was added since it was released: release it anew"

    @property
    def answer(self) -> str:
        """The owner's word on the latest estimate; empty while there is none."""
        found = self.last(OwnerAnswered)
        return "" if found is None or found[0].order < self.order_of_last(Estimated) else found[1].answer

    @property
    def stage(self) -> str:
        """What is to be done next, or how the job ended."""
        if self.closed:
            return self.closed
        if self.release is not None:
            return "ship"
        if self.last(Decontaminated) is None:
            return "receive"
        if self.repairs:
            after = [run for run in self.runs if run.order > self.repairs[-1][0].order]
            return "release" if any(run.closed for run in after) else "verify"
        if self.answer in ("refused", "scrap"):
            return "return" if self.answer == "refused" else "scrap"
        if self.answer == "approved":
            return "repair"
        if not self.runs:
            return "inspect"
        if self.last(Diagnosed) is None:
            return "diagnose"
        return "estimate"

    @property
    def move(self) -> str:
        """The move that its stage waits for: of an estimate that is out, the owner's answer."""
        if self.stage == "estimate" and self.last(Estimated) is not None:
            return "answer"
        return {"receive": "decontaminate", "inspect": "run", "verify": "run"}.get(self.stage, self.stage)

    @property
    def due(self) -> str:
        """What is to be done next, in a word for people: the move, and where that is a run, what it is for."""
        return self.stage if self.move == "run" else self.move


def in_effect(entries: Iterable[Kept]) -> tuple[Kept, ...]:
    """The entries with what corrections say of them; each correction itself is left among them."""
    found = {entry.id: entry for entry in entries}
    for entry in list(found.values()):
        fact = entry.fact
        if isinstance(fact, Corrected) and fact.entry in found:
            wrong = found[fact.entry]
            found[fact.entry] = replace(wrong, fact=corrected(wrong, fact))
    return tuple(found.values())


def corrected(wrong: Kept, by: Corrected) -> Fact:
    """What an entry should have said."""
    old = getattr(wrong.fact, by.field)
    return replace(wrong.fact, **{by.field: float(by.value) if isinstance(old, float) else by.value})


def _since_received(entries: Iterable[Kept]) -> tuple[Kept, ...]:
    """Runs that named this job before there was one are not of it."""
    found = tuple(entries)
    began = next((n for n, entry in enumerate(found) if isinstance(entry.fact, Received)), len(found))
    return found[began:]


def read_job(connection: sa.Connection, number: str) -> Job:
    """A job by its number. Raises InputError when no unit was received under it."""
    found = find_job(connection, number)
    if found is None:
        raise InputError(f"no unit was received as job {number!r}", "'rig jobs' lists them.", "JOB")
    return found


def find_job(connection: sa.Connection, number: str) -> Job | None:
    """A job by its number, if there is one."""
    entries = _since_received(ledger.read(connection, job_subject(number)))
    return Job(number, entries, in_effect(entries)) if entries else None


def job_of(store: Store, number: str) -> Job:
    """As ``read_job``, of an open store."""
    with store.reading() as connection:
        return read_job(connection, number)


def job_numbers(connection: sa.Connection, still_open: bool = False) -> list[str]:
    """The numbers of all jobs, or of those that are not closed, in the order in which the units were received."""
    came: dict[str, int] = {}
    for subject, order in ledger.subjects(connection, Received):
        came.setdefault(subject, order)  # two benches may have received it
    ends = [end for kind in CLOSES for end in ledger.subjects(connection, kind)] if still_open else []
    left = dict(sorted(ends, key=lambda end: end[1]))  # the last end of each
    return [subject.partition(":")[2] for subject, order in came.items() if left.get(subject, 0) < order]


def jobs_of(store: Store, *, still_open: bool = False, serial: str | None = None) -> Iterator[Job]:
    """As ``read_jobs``, of an open store."""
    with store.reading() as connection:
        yield from read_jobs(connection, still_open=still_open, serial=serial)


def read_jobs(connection: sa.Connection, *, still_open: bool = False, serial: str | None = None) -> Iterator[Job]:
    """Every job; every one that is not closed; those of the unit with a serial number. Others are not read."""
    perhaps = None if serial is None else _may_be_of(connection, serial)
    for number in job_numbers(connection, still_open):
        if perhaps is None or number in perhaps:
            job = read_job(connection, number)
            if serial is None or same_name(job.received.serial) == same_name(serial):
                yield job


def _may_be_of(connection: sa.Connection, serial: str) -> set[str]:
    """The jobs that were received with a serial number, or corrected to it at some time."""
    e, own = schema.entries.c, same_name(serial)
    kinds = (Received.__name__, Corrected.__name__)
    found = set()
    for subject, text in connection.execute(sa.select(e.subject, e.body).where(e.kind.in_(kinds))):
        body = parsed(text)
        said = body.get("serial", body.get("value") if body.get("field") == "serial" else None)
        if said is not None and same_name(said) == own:
            found.add(subject.partition(":")[2])
    return found
