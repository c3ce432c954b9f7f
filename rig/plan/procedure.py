"""A test procedure as written in YAML: stages of steps. Frozen models; references are resolved by the plan."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import Field, Tag, model_validator

from rig.plan.answers import Answer, ChoiceAnswer, Expect, NumberAnswer, Verb
from rig.plan.edges import InputEdge, Start, Timing
from rig.plan.values import (
    AnyLimit,
    AnyQuantity,
    DecisionRule,
    Duration,
    DurationOrRef,
    FactPath,
    Name,
    Strict,
    Text,
    UnitCode,
    YesNo,
    chosen,
)

Drive = Literal["dead", "board drives", "bench feeds"]
AfterBad = Literal["carry on", "leave out stage", "end"]
Function = Literal[
    "DC volts", "AC volts", "DC amps", "AC amps", "resistance", "resistance four-wire", "diode", "continuity",
    "frequency", "temperature", "pressure", "power", "energy", "mass",
]  # fmt: skip
FIGURES = ("highest", "lowest", "last", "mean", "slope", "onset", "plateau", "overshoot", "leak", "lethality")
CONTACT_FIGURES = ("first contact", "chatter")  # of a trace of an input
WORST = ("stopped", "no reading", "fail", "conditional fail", "not evaluated", "conditional pass", "pass", "not run")
VerdictWord = Literal[
    "stopped", "no reading", "fail", "conditional fail", "not evaluated", "conditional pass", "pass", "not run"
]


class When(Strict):
    """A condition on an earlier step's verdict."""

    step: Name
    was: tuple[VerdictWord, ...] = Field(min_length=1)


def _when(value: Any) -> str | None:
    if isinstance(value, (dict, When)):
        return "one"
    return "all" if isinstance(value, (list, tuple)) else None


# One condition, or several that must all hold.
AnyWhen = Annotated[
    Annotated[When, Tag("one")] | Annotated[Annotated[tuple[When, ...], Field(min_length=1)], Tag("all")],
    chosen(_when, "expected {step: NAME, was: [VERDICTS]}, or a list of such conditions, which must all hold"),
]


# Words of the unit profile, by the path of the fact: each fact must be one of its words. Nothing written: any unit.
ForUnits = dict[FactPath, Annotated[tuple[Text, ...], Field(min_length=1)]]


class Conditional(Strict):
    """What decides whether a step or a stage is done: the unit, and what earlier steps came to."""

    for_units: ForUnits = Field(default_factory=dict)
    needs: tuple[Name, ...] = ()  # steps that must have passed
    after: tuple[Name, ...] = ()  # steps that must have been carried out
    when: AnyWhen | None = None

    @property
    def conditions(self) -> tuple[When, ...]:
        """What ``when`` asks for; nothing where nothing is written."""
        return () if self.when is None else (self.when,) if isinstance(self.when, When) else self.when


class Step(Conditional):
    """What every kind of step has."""

    step: Name
    minutes: Annotated[float, Field(strict=True, ge=0, le=24 * 60)] = 0.1
    caution: Text | None = None
    after_bad: AfterBad = "carry on"


class Judged(Step):
    """A step with a reading: it has a limit, or says why it has none."""

    limit: AnyLimit | None = None
    no_limit: Text | None = None

    @model_validator(mode="after")
    def _limit_or_reason(self) -> Judged:
        if (self.limit is None) == (self.no_limit is None):
            raise ValueError("expected either limit, or no-limit with the reason why there is none")
        return self


class Ask(Step):
    """Ask a person to look, do or read something."""

    ask: Text
    verb: Verb
    thing: Name
    answer: Answer
    expect: Expect | None = None
    limit: AnyLimit | None = None
    no_limit: Text | None = None
    standard_uncertainty: AnyQuantity | None = None
    with_: Name | None = None  # one of the bench's hand-instruments, where the answer names no other

    @model_validator(mode="after")
    def _fits(self) -> Ask:
        number = isinstance(self.answer, NumberAnswer)
        if number and (self.limit is None) == (self.no_limit is None):
            raise ValueError("a number needs either limit, or no-limit with the reason why there is none")
        if not number and (self.limit or self.no_limit or self.standard_uncertainty or self.with_):
            raise ValueError("limit, no-limit, standard-uncertainty and with go with answer: {number-in: UNIT} only")
        if self.answer == "yes or no" and self.expect not in ("yes", "no"):
            raise ValueError("a yes-or-no question needs expect: yes or expect: no")
        if isinstance(self.answer, ChoiceAnswer):
            wanted = self.expect if isinstance(self.expect, tuple) else ()
            unknown = [w for w in wanted if w not in self.answer.one_of]
            if not wanted or unknown:
                raise ValueError("a choice needs expect: a list of the answers that are good, each from one-of")
        if self.answer in ("done", "text") and self.expect is not None:
            raise ValueError("expect goes with yes-or-no questions and choices only")
        return self


class Switching(Strict):
    """Outputs to turn on and off; off comes first."""

    turn_off: tuple[Name, ...] = ()
    turn_on: tuple[Name, ...] = ()

    @model_validator(mode="after")
    def _something(self) -> Switching:
        if not self.turn_off and not self.turn_on:
            raise ValueError("expected turn-on, turn-off or both, each with at least one output")
        if both := sorted({*self.turn_off} & {*self.turn_on}):
            raise ValueError(f"{both[0]} is both turned off and turned on; use two steps")
        return self


class Switch(Step):
    """Switch outputs; the step passes when their feedback says so."""

    switch: Switching


class Settle(Step):
    """Wait."""

    settle: Duration


class Measure(Judged):
    """Measure once, or averaged, at a test point or a bench quantity."""

    measure: Function
    at: Name
    range: AnyQuantity | None = None
    average: Annotated[int, Field(strict=True, ge=1, le=100)] = 1
    settle: Duration | None = None
    energize: tuple[Name, ...] = ()  # on for this step only
    over_range: Literal["no reading", "open circuit"] = "no reading"


class Time(Judged):
    """Time from one edge to another; other steps may run meanwhile. With ``then-watch`` the contact that it ends with
    is looked at for so long after, and the record tells how often it changed again."""

    time: Timing
    every: Duration
    start: Start | None = None
    then_watch: Duration | None = None
    meanwhile: tuple[MeanwhileStep, ...] = ()

    @model_validator(mode="after")
    def _watches_a_contact(self) -> Time:
        if self.then_watch is not None and not isinstance(self.time.until, InputEdge):
            raise ValueError(
                "then-watch looks on at the contact that the timing ends with: expected until: {input: NAME}"
            )
        return self


class Record(Judged):
    """Record a trace of bench quantities, and of inputs (closed is 1); ``judge: highest of NAME``, of an input
    ``first contact of NAME`` or ``chatter of NAME``."""

    record: tuple[Name, ...] = Field(min_length=1, max_length=8)
    every: Duration
    for_: DurationOrRef | None = None
    energize: tuple[Name, ...] = ()
    judge: Text

    @model_validator(mode="after")
    def _judges_what_it_records(self) -> Record:
        figure, of, name = self.judge.partition(" of ")
        if not of or figure not in (*FIGURES, *CONTACT_FIGURES) or name not in self.record:
            known = ", ".join((*FIGURES, *CONTACT_FIGURES))
            raise ValueError(f"expected judge: {known} of one of its quantities or inputs, found {self.judge!r}")
        return self

    @property
    def figure(self) -> str:
        """Which figure of the trace is judged: one of ``FIGURES``, or of ``CONTACT_FIGURES``."""
        return self.judge.partition(" of ")[0]

    @property
    def judged(self) -> str:
        """The quantity or input whose trace is judged."""
        return self.judge.partition(" of ")[2]


class Waveform(Judged):
    """A fast record at a test point while outputs are energized. ``judge: dip`` is the deepest fall after a rise, which
    the plunger of a DC coil makes; ``inrush to holding`` how far the current of an AC coil departs from that of a
    coil whose plunger does not move, as a share of the holding current; ``time constant`` is L/R of the early rise on
    DC, ``inductance growth`` by how much L is larger in the end."""

    waveform: Name
    interval: Duration
    for_: Duration
    energize: tuple[Name, ...] = ()
    judge: Literal["dip", "highest", "last", "inrush to holding", "time constant", "inductance growth"]


class Compute(Judged):
    """Arithmetic on earlier readings, with units."""

    compute: Annotated[str, Field(min_length=1, max_length=300)]
    in_: UnitCode


class Repeating(Strict):
    """Steps to do several times; every time is kept."""

    times: Annotated[int, Field(strict=True, ge=2, le=50)]
    steps: tuple[InnerStep, ...] = Field(min_length=1)


class Repeat(Step):
    """Do some steps several times."""

    repeat: Repeating


KINDS = ("ask", "switch", "settle", "measure", "time", "record", "waveform", "compute", "repeat")


def _kind(value: Any) -> str | None:
    if isinstance(value, Step):
        return type(value).__name__
    if not isinstance(value, dict):
        return None
    # 'settle' is also an option of a measurement, so the others are looked for first
    order = ("ask", "switch", "measure", "time", "record", "waveform", "compute", "repeat", "settle")
    return next((k.capitalize() for k in order if k in value), None)


MeanwhileStep = Annotated[
    Annotated[Measure, Tag("Measure")] | Annotated[Record, Tag("Record")] | Annotated[Ask, Tag("Ask")],
    chosen(_kind, "a step under meanwhile says what it does with measure, record or ask"),
]
InnerStep = Annotated[
    Annotated[Ask, Tag("Ask")]
    | Annotated[Switch, Tag("Switch")]
    | Annotated[Settle, Tag("Settle")]
    | Annotated[Measure, Tag("Measure")]
    | Annotated[Time, Tag("Time")]
    | Annotated[Record, Tag("Record")]
    | Annotated[Waveform, Tag("Waveform")]
    | Annotated[Compute, Tag("Compute")],
    chosen(_kind, f"a step that is repeated says what it does with one of: {', '.join(KINDS[:-1])}"),
]
AnyStep = Annotated[
    Annotated[Ask, Tag("Ask")]
    | Annotated[Switch, Tag("Switch")]
    | Annotated[Settle, Tag("Settle")]
    | Annotated[Measure, Tag("Measure")]
    | Annotated[Time, Tag("Time")]
    | Annotated[Record, Tag("Record")]
    | Annotated[Waveform, Tag("Waveform")]
    | Annotated[Compute, Tag("Compute")]
    | Annotated[Repeat, Tag("Repeat")],
    chosen(_kind, f"a step says what it does with one of: {', '.join(KINDS)}"),
]


class Stage(Conditional):
    """Made ready, worked, and always made safe. After a pause, ``after-pause`` is asked before it begins anew."""

    stage: Name
    title: Text
    drive: Drive
    cautions: tuple[Text, ...] = ()
    make_ready: tuple[AnyStep, ...] = ()
    steps: tuple[AnyStep, ...] = Field(min_length=1)
    make_safe: tuple[AnyStep, ...] = ()
    after_pause: tuple[Ask, ...] = ()

    def all_steps(self) -> list[Any]:
        """Every step in the order of work, repeats not unrolled."""
        return [*self.make_ready, *self.steps, *self.make_safe]


class Procedure(Strict):
    """One procedure file."""

    procedure: Name
    title: Text
    revision: Text
    needs_unit: YesNo = "yes"
    as_found: Name | None = None
    decision_rule: DecisionRule | None = None  # of limits written here; of the profile's where it has no rule
    stages: tuple[Stage, ...] = Field(min_length=1)


Time.model_rebuild()
Repeating.model_rebuild()
Repeat.model_rebuild()
Procedure.model_rebuild()
