"""The journal of one run, in the store."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Protocol

import sqlalchemy as sa

from rig.events import AllOff, Answered, Event, Interrupted, OutputIntended, RunEnded, RunStarted, Sampled, StepEnded
from rig.records import anchor, ledger, schema
from rig.records.canonical import FORM, canonical
from rig.records.chain import BEGINNING, link
from rig.records.codec import encode
from rig.records.facts import FileUsed, InstrumentOnBench, RunBegan, RunClosed
from rig.records.faults import guarded


def commits(event: Event) -> bool:
    """Whether the event must be safe on disk before anything else happens; others go with the next one."""
    if isinstance(event, OutputIntended):
        return event.on  # nothing is waited for before switching off
    return isinstance(event, RunStarted | Answered | StepEnded | AllOff | RunEnded | Interrupted)


@dataclass(frozen=True)
class RunFacts:
    """What the ledger keeps of a run beside its events. ``proved``: whoever runs it gave the PIN."""

    proved: bool = False
    files: tuple[FileUsed, ...] = ()
    instruments: tuple[InstrumentOnBench, ...] = ()


class Lock(Protocol):
    """Says that a run is being written."""

    def release(self) -> None: ...


def writes(engine: sa.Engine) -> dict[str, Any]:
    """The options of a connection that writes. In PostgreSQL it must see what was written while it waited for its
    turn, so each statement looks anew (Read Committed)."""
    return {"writes": True} | ({} if engine.dialect.name == "sqlite" else {"isolation_level": "READ COMMITTED"})


class StoreJournal:
    """Adds the events of one run.

    After a RecordError it keeps what it could not write, and tries again with the next that must be safe.
    """

    def __init__(
        self,
        engine: sa.Engine,
        place: str,
        run: str,
        lock: Lock | None = None,
        after: tuple[int, str] | None = None,
        facts: RunFacts | None = None,
    ) -> None:
        self._facts = facts or RunFacts()
        self._noted: tuple[int, str] | None = None  # the ledger's entry that is not yet noted beside it
        self._engine = engine
        self._place = place
        self._run = run
        self._pending: list[Event] = []
        self._connection: sa.Connection | None = None
        self._seq, self._head = (0, BEGINNING) if after is None else after
        self._lock = lock

    def record(self, event: Event) -> None:
        """Keep one event; durable on return when :func:`commits` says so. Raises RecordError."""
        if isinstance(event, Sampled):
            return  # for showing only; what is judged is in the step's result
        self._pending.append(event)
        if commits(event):
            self._flush()
        if isinstance(event, RunEnded | Interrupted):
            self.close()
            self.release()

    def release(self) -> None:
        """Say that this run is no longer being written."""
        if self._lock is not None:
            self._lock.release()

    def close(self) -> None:
        """Let go of the file."""
        if self._connection is not None:
            self._connection.close()
            self._connection = None

    def _flush(self) -> None:
        try:
            with guarded(self._place):
                connection = self._connection or self._connect()
                with connection.begin():
                    seq, head = self._write(connection)
        except BaseException:
            self.close()  # whether the last commit reached the disk is found out when it is opened again
            raise
        self._seq, self._head = seq, head
        self._pending.clear()
        if self._noted is not None:
            anchor.note(anchor.beside(self._engine.url), *self._noted)
            self._noted = None

    def _connect(self) -> sa.Connection:
        """Open the file, and see how far the run has come there."""
        connection = self._connection = self._engine.connect().execution_options(**writes(self._engine))
        e = schema.events.c
        with connection.begin():
            last = connection.execute(
                sa.select(e.seq, e.hash).where(e.run == self._run).order_by(e.seq.desc()).limit(1)
            ).first()
        if last is not None:
            self._catch_up(last.seq, last.hash)
        return connection

    def _catch_up(self, last: int, hash_there: str) -> None:
        """Drop what did reach the disk although the commit seemed to fail.

        Raises ValueError when what is there does not come from this journal.
        """
        seq, head, done = self._seq, self._head, 0
        while seq <= last and done < len(self._pending):
            head = link(self._run, seq, head, canonical(encode(self._pending[done])), FORM)
            seq, done = seq + 1, done + 1
        if seq != last + 1 or head != hash_there:
            raise ValueError(f"run {self._run} is being written by another program")
        self._seq, self._head = seq, head
        del self._pending[:done]

    def _write(self, connection: sa.Connection) -> tuple[int, str]:
        seq, head = self._seq, self._head
        for event in self._pending:
            plain = encode(event)
            body = canonical(plain)
            previous, head = head, link(self._run, seq, head, body, FORM)
            if isinstance(event, RunStarted):
                self._write_start(connection, event)
            connection.execute(
                sa.insert(schema.events).values(
                    run=self._run, seq=seq, kind=plain["event"], at=event.at, body=body,
                    previous=previous, hash=head, form=FORM,
                )
            )  # fmt: skip
            if isinstance(event, StepEnded):
                found = reading_row(event)
                connection.execute(sa.insert(schema.readings).values(run=self._run, seq=seq, **found))
            seq += 1
            if isinstance(event, RunEnded | Interrupted):
                self._write_end(connection, event, seq, head)
        return seq, head

    def _write_start(self, connection: sa.Connection, event: RunStarted) -> None:
        if event.run != self._run:
            raise ValueError(f"the journal of run {self._run} was given the beginning of {event.run}")
        if event.job:
            seen = sa.select(schema.jobs.c.job).where(schema.jobs.c.job == event.job)
            if connection.execute(seen).first() is None:
                connection.execute(sa.insert(schema.jobs).values(job=event.job, first_run=event.run))
        connection.execute(sa.insert(schema.runs).values(**run_row(event)))
        began = RunBegan(
            event.run,
            event.procedure,
            event.unit,
            event.serial,
            event.bench,
            event.simulated,
            self._facts.proved,
            self._facts.files,
            self._facts.instruments,
        )
        entry = ledger.append(connection, began, subject=subject_of(event.job), by=event.by)
        self._noted = (entry.seq, entry.hash)

    def _write_end(self, connection: sa.Connection, event: RunEnded | Interrupted, events: int, head: str) -> None:
        """The ledger knows the whole chain of the run by its last hash."""
        job = connection.execute(sa.select(schema.runs.c.job).where(schema.runs.c.run == self._run)).scalar()
        verdict = str(event.verdict) if isinstance(event, RunEnded) else None
        closed = RunClosed(self._run, events, head, verdict)
        entry = ledger.append(connection, closed, subject=subject_of(job or ""))
        self._noted = (entry.seq, entry.hash)


def subject_of(job: str) -> str:
    """What a run's entries are about."""
    return ledger.job_subject(job) if job else ""


def run_row(event: RunStarted) -> dict[str, Any]:
    """The columns by which a run is found."""
    names = ("run", "procedure", "revision", "unit", "serial", "bench", "simulated", "by", "utc")
    return {"job": event.job or None} | {name: getattr(event, name) for name in names}


def reading_row(event: StepEnded) -> dict[str, Any]:
    """The columns by which a step's result is found."""
    result, reading = event.result, event.result.reading
    row: dict[str, Any] = {"step": result.name, "attempt": result.attempt, "verdict": str(result.verdict)}
    for name in ("value", "unit", "u", "bound"):
        row[name] = None if reading is None else getattr(reading, name)
    return row
