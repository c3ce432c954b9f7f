"""What the records say."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import sqlalchemy as sa

from rig.errors import InputError
from rig.events import (
    AllOff,
    Event,
    Interrupted,
    OutputConfirmed,
    OutputIntended,
    RunEnded,
    RunRecord,
    RunStarted,
    StepEnded,
    StepStarted,
    Traced,
)
from rig.limits import Verdict
from rig.records import schema
from rig.records.canonical import FORMS, parsed
from rig.records.chain import BEGINNING, link
from rig.records.codec import decode
from rig.records.journal import reading_row, run_row
from rig.run.journal import record_of

SHORTEST = 8  # characters of an id that are always shown: one minute of UUIDv7's time


@dataclass(frozen=True)
class RunLine:
    """One run in a list. One that was cut off is stopped, and ``known`` says how far it came; one that goes on has no
    verdict yet."""

    run: str
    short: str  # as much of the id as is unique in the store
    utc: str
    procedure: str
    unit: str
    serial: str
    bench: str
    job: str | None
    by: str
    simulated: bool
    verdict: Verdict | None
    reason: str | None
    known: str
    interrupted: bool
    running: bool


@dataclass(frozen=True)
class StoredRun:
    """A run as it was read back. An interrupted one has an end that was put together from what is known; so has one
    that is still going on (``running``), and there it only says how far it has come."""

    record: RunRecord
    events: tuple[Event, ...]
    interrupted: bool
    running: bool = False


@dataclass(frozen=True)
class Checked:
    """What :func:`verify` found; ``head`` is the last hash.

    A chain cannot show that its tail was cut off, unless the run's end is in it (``ended``).
    """

    run: str
    events: int
    head: str
    ended: bool
    problems: tuple[str, ...]


def _bare(run: str) -> str:
    return run.strip().lower().replace("-", "")


def find(connection: sa.Connection, wanted: str) -> str:
    """The whole id that begins with ``wanted``. Raises InputError when there is none, or more than one."""
    r = schema.runs.c
    begins = [sa.and_(r.run >= begin, r.run <= begin + "\U0010ffff") for begin in _beginnings(wanted)]
    query = sa.select(r.run).where(sa.or_(sa.false(), *begins)).order_by(r.run)
    found = connection.execute(query.limit(4)).scalars().all()
    if len(found) == 1:
        return str(found[0])
    if not found:
        raise InputError(f"no run on record has an id that begins with {wanted!r}", "'rig runs' lists them.")
    count = connection.execute(sa.select(sa.func.count()).select_from(query.subquery())).scalar_one()
    some = ", ".join(found[:3]) + (", …" if count > 3 else "")
    what = f"{count} runs have an id that begins with {wanted!r}: {some}"
    raise InputError(what, "Give more of the id.")


def _beginnings(wanted: str) -> set[str]:
    """How an id may begin that somebody means: as it was written, and with the hyphens where a UUID has them."""
    bare = _bare(wanted)
    if not bare:
        return set()
    parts = (bare[:8], bare[8:12], bare[12:16], bare[16:20], bare[20:])
    return {wanted.strip().lower(), "-".join(part for part in parts if part)}


def events_of(connection: sa.Connection, run: str, but: type[Event] | None = None) -> tuple[Event, ...]:
    """All events of a run, in order, ``but`` those of one kind; ``run`` is the whole id."""
    e = schema.events.c
    left_out = "" if but is None else but.__name__
    query = sa.select(e.body, e.form).where(e.run == run, e.kind != left_out).order_by(e.seq)
    return tuple(decode(parsed(body, form)) for body, form in connection.execute(query))


def stored_run(connection: sa.Connection, wanted: str, goes_on: Callable[[str], bool]) -> StoredRun:
    """A whole run from its events; ``goes_on`` tells whether a program is still writing it."""
    run = find(connection, wanted)
    events = events_of(connection, run)
    if any(isinstance(e, RunEnded) for e in events):
        return StoredRun(record_of(events), events, interrupted=False)
    running = goes_on(run)
    return StoredRun(record_of([*events, _cut_off(events)]), events, not running, running)


def _cut_off(events: Sequence[Event]) -> RunEnded:
    """The end of a run that has none on record. What is not known of it is not claimed.

    ``all_off`` is only true when nothing was meant to be switched on after everything was confirmed off.
    """
    off = False
    for event in events:
        if isinstance(event, AllOff):
            off = event.confirmed
        elif isinstance(event, OutputIntended | OutputConfirmed) and event.on:
            off = False
    last = max((e.at for e in events), default=0.0)
    return RunEnded(last, Verdict.STOPPED, _why_stopped(_last_known(events)), off, seconds=last, wall_seconds=0.0)


def _why_stopped(known: str) -> str:
    return f"interrupted: no end is on record; {known}"


def _last_known(events: Sequence[Event]) -> str:
    for event in reversed(events):
        if isinstance(event, Interrupted):
            return _marked(event)
        if isinstance(event, AllOff):
            return "the last that is known: everything was switched off"
        if isinstance(event, StepEnded):
            return f"the last that is known: step {event.result.name} ended"
        if isinstance(event, StepStarted):
            return f"the last that is known: step {event.step} had begun"
        if isinstance(event, OutputIntended) and event.on:
            return f"the last that is known: output {event.output} was to be switched on"
        if isinstance(event, RunStarted):
            return "the last that is known: it had begun"
    return "nothing is known"


def _marked(mark: Interrupted) -> str:
    on = [*mark.confirmed_on, *(f"{name} (told, not confirmed)" for name in mark.perhaps_on)]
    said = f"on when it was last read: {', '.join(on)}" if on else "nothing was on when it was last read"
    if mark.second_process:
        said += f"; the second process: {', '.join(mark.second_process)}"
    return f"{said} (found {mark.utc})"


def list_runs(
    connection: sa.Connection, serial: str | None, limit: int, goes_on: Callable[[str], bool]
) -> tuple[RunLine, ...]:
    """The latest runs, the newest first; ``goes_on`` as for ``stored_run``."""
    r, e, other = schema.runs.c, schema.events.c, schema.runs.alias().c
    before = sa.select(sa.func.max(other.run)).where(other.run < r.run).scalar_subquery()
    after = sa.select(sa.func.min(other.run)).where(other.run > r.run).scalar_subquery()
    query = sa.select(schema.runs, before.label("one_before"), after.label("one_after"))
    query = query.order_by(r.run.desc()).limit(limit)
    if serial is not None:
        query = query.where(r.serial == serial)
    rows = connection.execute(query).all()
    ended = sa.select(e.run, e.body, e.form).where(e.run.in_([row.run for row in rows]), e.kind == RunEnded.__name__)
    ends: dict[str, Any] = {end.run: end for end in connection.execute(ended)}
    return tuple(_line(connection, row, ends.get(row.run), goes_on) for row in rows)


def _line(connection: sa.Connection, row: sa.Row[Any], end: Any, goes_on: Callable[[str], bool]) -> RunLine:
    running = end is None and goes_on(row.run)
    verdict: Verdict | None = None
    known, reason = "", None
    if end is not None:
        ended = decode(parsed(end.body, end.form))
        assert isinstance(ended, RunEnded)
        verdict, reason = ended.verdict, ended.reason
    else:
        known = _last_known(events_of(connection, row.run, but=Traced))
        if not running:
            verdict, reason = Verdict.STOPPED, _why_stopped(known)
    return RunLine(
        run=row.run,
        short=_short(row.run, row.one_before, row.one_after),
        utc=row.utc,
        procedure=row.procedure,
        unit=row.unit,
        serial=row.serial,
        bench=row.bench,
        job=row.job,
        by=row.by,
        simulated=row.simulated,
        verdict=verdict,
        reason=reason,
        known=known,
        interrupted=end is None and not running,
        running=running,
    )


def _short(run: str, *neighbours: str | None) -> str:
    """As much of an id as tells it from its neighbours in the order of ids."""
    others = [other for other in neighbours if other is not None]
    length = SHORTEST
    while length < len(run) and any(o[:length] == run[:length] for o in others):
        length += 1
    return run[:length]


def verify(connection: sa.Connection, wanted: str) -> Checked:
    """Recompute the chain of hashes and compare the columns with the events."""
    run = find(connection, wanted)
    e = schema.events.c
    problems: list[str] = []
    head, ended = BEGINNING, False
    rows = connection.execute(sa.select(schema.events).where(e.run == run).order_by(e.seq)).all()
    for expected, row in enumerate(rows):
        problems += [f"event {expected}: {p}" for p in _event_problems(connection, row, expected, head)]
        head, ended = row.hash, ended or row.kind == RunEnded.__name__
    if not rows:
        problems.append("no event is on record")
    listed = sa.select(sa.func.count()).select_from(schema.readings).where(schema.readings.c.run == run)
    if connection.execute(listed).scalar_one() != sum(row.kind == StepEnded.__name__ for row in rows):
        problems.append("the list of readings has another number of steps than ended")
    return Checked(run, len(rows), head, ended, tuple(problems))


def _event_problems(connection: sa.Connection, row: sa.Row[Any], expected: int, head: str) -> list[str]:
    found = []
    if row.seq != expected:
        found.append(f"its number is {row.seq}: an event is missing")
    if row.previous != head:
        found.append("it does not name the hash of the event before it")
    try:
        plain = parsed(row.body, row.form)
        event = decode(plain)
        text = FORMS[row.form](plain)
    except (ValueError, KeyError) as fault:
        return [*found, f"it cannot be read ({fault})"]
    if text != row.body or link(row.run, row.seq, row.previous, row.body, row.form) != row.hash:
        found.append("its hash does not fit what it says")
    if (row.kind, row.at) != (plain["event"], event.at):
        found.append("its columns do not say what it says")
    if isinstance(event, RunStarted) and not _same(connection, schema.runs, {"run": row.run}, run_row(event)):
        found.append("the list of runs does not say what it says")
    if isinstance(event, StepEnded):
        key = {"run": row.run, "seq": row.seq}
        if not _same(connection, schema.readings, key, key | reading_row(event)):
            found.append("the list of readings does not say what it says")
    return found


def _same(connection: sa.Connection, table: sa.Table, key: dict[str, Any], wanted: dict[str, Any]) -> bool:
    query = sa.select(table).where(*(table.c[name] == value for name, value in key.items()))
    row = connection.execute(query).mappings().first()
    return row is not None and dict(row) == wanted
