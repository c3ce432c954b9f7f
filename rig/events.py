"""What can happen in a run: frozen facts, in the order they happened.

The engine yields them; the terminal, ``--json`` and the journal all live from them alone. Times are seconds on the
bench's clock since the run began; readings are in canonical units.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass, fields
from typing import Any

from rig.limits import Limit, Verdict
from rig.uncertainty import Line


@dataclass(frozen=True)
class Correction:
    """What was done to a reading before it was judged: from what to what, in canonical units, and by which rule."""

    name: str
    before: float
    before_unit: str
    after: float
    unit: str
    basis: str


@dataclass(frozen=True)
class Reading:
    """A measured value with its standard uncertainty ``u``. ``bound`` is "more than" where the instrument could only
    say that the true value lies beyond ``value``."""

    value: float
    unit: str
    u: float
    shown: str
    bound: str | None = None
    how: str = "measured"  # measured, by hand, computed
    parts: tuple[tuple[str, float], ...] = ()  # the standard uncertainties that were combined, by name
    raw: tuple[float, ...] = ()  # what the instrument said, before scaling and averaging
    dof: float | None = None  # effective degrees of freedom, None for infinitely many
    budget: tuple[Line, ...] = ()  # the parts in full, from which ``u`` and ``dof`` can be found again
    corrections: tuple[Correction, ...] = ()  # in the order in which they were made
    instrument: str = ""  # those of the bench by name and serial number; by hand: what the person gave
    by: str = ""  # by hand: who read it


@dataclass(frozen=True)
class StepResult:
    """How one step ended."""

    name: str
    verdict: Verdict
    reason: str | None
    reading: Reading | None
    limit: Limit | None
    conformance_probability: float | None
    bracket: tuple[float, float] | None
    started: float
    ended: float
    answer: str | None = None
    attempt: int = 1
    ratio: float | None = None  # test uncertainty ratio of the limit and this reading's U


@dataclass(frozen=True)
class Event:
    """Something that happened at ``at`` seconds."""

    at: float


@dataclass(frozen=True)
class RunStarted(Event):
    run: str
    procedure: str
    revision: str
    unit: str
    serial: str
    bench: str
    simulated: bool
    by: str
    job: str
    seed: int | None
    faults: tuple[tuple[str, float], ...]
    utc: str
    steps: int
    minutes: float
    answered_by: str
    wire_faults: tuple[str, ...] = ()  # lies of simulated instruments' wires, KIND@INSTRUMENT


@dataclass(frozen=True)
class StageStarted(Event):
    stage: str
    title: str
    drive: str
    cautions: tuple[str, ...]


@dataclass(frozen=True)
class StepStarted(Event):
    step: str
    stage: str
    doing: str
    minutes: float


@dataclass(frozen=True)
class Prompted(Event):
    step: str
    verb: str
    thing: str
    question: str
    caution: str
    kind: str  # done, yes-no, choice, number, text; by hand: reading, stop-watch
    unit: str
    options: tuple[str, ...] = ()
    offered: str = ""  # what the simulated person saw, where there is one


@dataclass(frozen=True)
class Answered(Event):
    step: str
    answer: str
    answered_by: str


@dataclass(frozen=True)
class OutputIntended(Event):
    """Written before an output is switched on."""

    output: str
    on: bool


@dataclass(frozen=True)
class OutputConfirmed(Event):
    """What the feedback said, and when it was read."""

    output: str
    on: bool
    feedback: str


@dataclass(frozen=True)
class Sampled(Event):
    """The latest value of a quantity while a step waits or records; for showing, not for judging."""

    step: str
    quantity: str
    value: float
    unit: str


@dataclass(frozen=True)
class Traced(Event):
    """A chunk of a recorded trace: times and values of equal length."""

    step: str
    quantity: str
    unit: str
    times: tuple[float, ...]
    values: tuple[float, ...]


@dataclass(frozen=True)
class StepEnded(Event):
    result: StepResult


@dataclass(frozen=True)
class Noted(Event):
    """Something a person should know that is not a verdict: a lost instrument, a switch that had to be repeated."""

    text: str


@dataclass(frozen=True)
class AllOff(Event):
    """Everything was switched off; ``unconfirmed`` names the outputs whose feedback did not say so."""

    confirmed: bool
    unconfirmed: tuple[str, ...]


@dataclass(frozen=True)
class RunEnded(Event):
    verdict: Verdict
    reason: str | None
    all_off: bool
    seconds: float
    wall_seconds: float
    signal: int | None = None  # the number of the signal that ended the run


@dataclass(frozen=True)
class Interrupted(Event):
    """Written at a later start: the run before had no end on record, and its program was dead.

    ``confirmed_on`` were on by their feedback when it was last read, ``perhaps_on`` were told to be and had not said
    so; ``second_process`` is what that process has written of switching them off."""

    utc: str
    confirmed_on: tuple[str, ...]
    perhaps_on: tuple[str, ...]
    second_process: tuple[str, ...]


def _plain(value: Any) -> Any:
    if isinstance(value, tuple):
        return [_plain(v) for v in value]
    return str(value) if isinstance(value, Verdict) else value


def as_dict(event: Event) -> dict[str, Any]:
    """The event as plain JSON values; ``event`` is the name of its class."""
    plain: dict[str, Any] = {"event": type(event).__name__}
    for field in fields(event):
        value = getattr(event, field.name)
        plain[field.name] = step_dict(value) if isinstance(value, StepResult) else _plain(value)
    return plain


def step_dict(result: StepResult) -> dict[str, Any]:
    """A step as it stands in the ``steps`` of a run's JSON."""
    reading: dict[str, Any] | None = None
    if result.reading is not None:
        r = result.reading
        reading = {"value": r.value, "unit": r.unit, "u": r.u, "shown": r.shown, "how": r.how, "bound": r.bound}
        reading["parts"] = dict(r.parts)
        reading["raw"] = list(r.raw)
        reading["instrument"], reading["by"] = r.instrument, r.by
        reading["dof"] = r.dof
        reading["budget"] = [asdict(each) for each in r.budget]
        reading["corrections"] = [asdict(each) for each in r.corrections]
    limit = None
    if result.limit is not None:
        limit = {k: v for k, v in asdict(result.limit).items() if k != "shown_in"}
    return {
        "name": result.name,
        "verdict": str(result.verdict),
        "reason": result.reason,
        "reading": reading,
        "limit": limit,
        "conformance_probability": result.conformance_probability,
        "bracket": None if result.bracket is None else list(result.bracket),
        "started": result.started,
        "ended": result.ended,
        "answer": result.answer,
        "attempt": result.attempt,
        "ratio": result.ratio,
    }


@dataclass(frozen=True)
class RunRecord:
    """A whole run in memory, built from its events alone."""

    started: RunStarted
    steps: tuple[StepResult, ...]
    ended: RunEnded


def run_dict(record: RunRecord) -> dict[str, Any]:
    """The one JSON value that ``rig run --json`` prints."""
    s, e = record.started, record.ended
    return {
        "run": s.run,
        "procedure": s.procedure,
        "unit": s.unit,
        "serial": s.serial,
        "bench": s.bench,
        "simulated": s.simulated,
        "by": s.by,
        "job": s.job or None,
        "answered_by": s.answered_by,
        "verdict": str(e.verdict),
        "reason": e.reason,
        "all_off": e.all_off,
        "seconds": e.seconds,
        "wall_seconds": e.wall_seconds,
        "steps": [step_dict(step) for step in record.steps],
    }
