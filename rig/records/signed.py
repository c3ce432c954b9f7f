"""A signed record: everything that a release covers, in one JSON value that is read and checked without the store."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import sqlalchemy as sa

from rig.errors import InputError, RuleError
from rig.events import Event, RunEnded, RunStarted, StepEnded, StepResult
from rig.records import schema
from rig.records.canonical import FORMS, canonical, parsed
from rig.records.chain import BEGINNING, link
from rig.records.codec import decode
from rig.records.facts import RunBegan
from rig.records.job import Job, in_effect, read_job
from rig.records.keys import holds
from rig.records.ledger import entry_from, entry_hash, envelope_of
from rig.records.release import FORM
from rig.records.store import Store

RECORD = "refurb-rig signed record 1"


@dataclass(frozen=True)
class RecordedRun:
    """A run as it stands in a signed record."""

    run: str
    started: RunStarted
    steps: tuple[StepResult, ...]
    ended: RunEnded | None
    began: RunBegan
    utc: str


@dataclass(frozen=True)
class SignedRecord:
    """A record that has been read. ``statement`` is what was signed."""

    plain: dict[str, Any]
    statement: dict[str, Any]

    @property
    def public_key(self) -> str:
        return str(self.plain["public_key"])

    @property
    def kind(self) -> str:
        return str(self.statement["kind"])

    def job(self) -> Job:
        """The job as it stood when it was signed. Raises ValueError."""
        entries = tuple(entry_from(envelope, n + 1) for n, envelope in enumerate(self.plain["entries"]))
        return Job(self.statement["job"], entries, in_effect(entries))

    def runs(self) -> tuple[RecordedRun, ...]:
        """The job's runs. Raises ValueError."""
        began = {run.run: run for run in self.job().runs}
        return tuple(_run(run["run"], run["events"], began[run["run"]].began, began[run["run"]].utc)
                     for run in self.plain["runs"] if run["run"] in began)  # fmt: skip


def _run(run: str, rows: list[Any], began: RunBegan, utc: str) -> RecordedRun:
    events: list[Event] = [decode(parsed(body, form)) for form, body in rows]
    started = next(e for e in events if isinstance(e, RunStarted))
    ended = next((e for e in events if isinstance(e, RunEnded)), None)
    steps = tuple(e.result for e in events if isinstance(e, StepEnded))
    return RecordedRun(run, started, steps, ended, began, utc)


def signed_record(store: Store, number: str) -> SignedRecord:
    """The record of a job's release that still holds. Raises InputError, RuleError."""
    with store.reading() as connection:
        job = read_job(connection, number)
        release = job.release
        if release is None:
            do = "The job's page says what is missing."
            raise RuleError(f"there is no release that holds: {job.unreleased}", do, f"job {number}")
        entry, fact = release
        statement: dict[str, Any] = json.loads(fact.statement)
        plain = {
            "record": RECORD,
            "statement": statement,
            "signature": fact.signature,
            "public_key": fact.public_key,
            "entries": [envelope_of(e, entry.came is not None) for e in job.entries if Job.covers(entry, e)],
            "runs": [{"run": run, "events": _events(connection, run)} for run, _, _ in statement["runs"]],
        }
    return SignedRecord(plain, statement)


def _events(connection: sa.Connection, run: str) -> list[list[str]]:
    e = schema.events.c
    rows = connection.execute(sa.select(e.form, e.body).where(e.run == run).order_by(e.seq))
    return [[row.form, row.body] for row in rows]


def as_text(record: SignedRecord) -> str:
    """The record as it is attached to a certificate."""
    return canonical(record.plain)


def record_from(text: str | bytes, place: str) -> SignedRecord:
    """A record from its text. Raises InputError for what is none."""
    try:
        plain = json.loads(text)
        if plain["record"] != RECORD or not isinstance(plain["statement"], dict):
            raise ValueError("of another form")
        for name in ("signature", "public_key", "entries", "runs"):
            plain[name]
    except (ValueError, KeyError, TypeError) as fault:
        what = f"this is no signed record ({type(fault).__name__}: {str(fault)[:80]})"
        raise InputError(what, "Give a certificate (PDF) or the record attached to it (JSON).", place) from None
    return SignedRecord(plain, plain["statement"])


def changes(record: SignedRecord) -> tuple[str, ...]:
    """What in a record is not what was signed, in words; nothing when the signature and every hash hold."""
    try:
        return tuple(_changes(record))
    except (ValueError, KeyError, TypeError, AttributeError, IndexError, StopIteration) as fault:
        return (f"the record cannot be read as one ({type(fault).__name__}: {str(fault)[:120]})",)


def _changes(record: SignedRecord) -> Iterator[str]:
    plain, statement = record.plain, record.statement
    if statement.get("form") != FORM or record.kind not in ("workshop", "practice"):
        yield "the statement is of another form"
    text = canonical(statement).encode()
    if not holds(record.public_key, record.kind, FORM, text, str(plain["signature"])):
        yield "the signature is not one of this key over this statement: one of the three was changed"
    yield from _entry_changes(plain["entries"], statement["entries"])
    yield from _run_changes(plain["runs"], statement["runs"])
    received = record.job().received
    if (received.serial, received.unit) != (statement["serial"], statement["unit"]):
        yield "the statement names another unit than the entries"


def _entry_changes(entries: list[dict[str, Any]], signed: list[list[Any]]) -> Iterator[str]:
    expected = {int(seq): str(found) for seq, found in signed}
    for entry in entries:
        name = f"entry {entry['seq']} ({entry['kind']})"
        wanted = expected.pop(entry["seq"], None)
        if wanted is None:
            yield f"{name}: it was added"
        elif entry_hash(entry) != wanted or entry["hash"] != wanted:
            yield f"{name}: it was changed, it says now: {canonical(entry['body'])[:160]}"
    yield from (f"entry {seq}: it was taken away" for seq in expected)
    order = [entry["seq"] for entry in entries]
    if order != [seq for seq, _ in signed if seq in order]:
        yield "the entries stand in another order"


def _run_changes(runs: list[dict[str, Any]], signed: list[list[Any]]) -> Iterator[str]:
    expected = {run: (events, head) for run, events, head in signed}
    for run in runs:
        name = f"run {str(run['run'])[:13]}"
        wanted = expected.pop(run["run"], None)
        if wanted is None:
            yield f"{name}: it was added"
            continue
        head = BEGINNING
        for seq, (form, body) in enumerate(run["events"]):
            if FORMS[form](parsed(body, form)) != body:
                yield f"{name}: event {seq} was changed"
            head = link(run["run"], seq, head, body, form)
        if (len(run["events"]), head) != wanted:
            yield f"{name}: its events are not those that were signed"
    yield from (f"run {run[:13]}: it was taken away" for run in expected)
