"""A test procedure as written in YAML: stages of steps. Frozen models; references are resolved by the plan."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import Discriminator, Field, Tag, model_validator

from rig.plan.values import AnyQuantity, Duration, DurationOrRef, LimitRef, LimitText, Name, Strict, Text, YesNo

Verb = Literal["look", "pour", "weigh", "move-lead", "press", "measure", "confirm"]
Drive = Literal["dead", "board drives", "bench feeds"]
AfterBad = Literal["carry on", "leave out stage", "end"]
Function = Literal[
    "DC volts", "AC volts", "DC amps", "AC amps", "resistance", "resistance four-wire", "diode", "continuity",
    "frequency", "temperature", "pressure", "power", "mass",
]  # fmt: skip
WORST = ("stopped", "no reading", "fail", "conditional fail", "not evaluated", "conditional pass", "pass", "not run")
VerdictWord = Literal[
    "stopped", "no reading", "fail", "conditional fail", "not evaluated", "conditional pass", "pass", "not run"
]


class When(Strict):
    """A condition on an earlier step's verdict."""

    step: Name
    was: list[VerdictWord] = Field(min_length=1)


class Step(Strict):
    """What every kind of step has."""

    step: Name
    minutes: Annotated[float, Field(ge=0, le=24 * 60)] = 0.1
    caution: Text | None = None
    needs: list[Name] = []  # steps that must have passed
    after: list[Name] = []  # steps that must have been carried out
    when: When | None = None
    after_bad: AfterBad = "carry on"


class Judged(Step):
    """A step with a reading: it has a limit, or says why it has none."""

    limit: LimitText | LimitRef | None = None
    no_limit: Text | None = None

    @model_validator(mode="after")
    def _limit_or_reason(self) -> Judged:
        if (self.limit is None) == (self.no_limit is None):
            raise ValueError("expected either limit, or no-limit with the reason why there is none")
        return self


class NumberAnswer(Strict):
    """A number with a unit, read by a person."""

    number_in: Annotated[str, Field(max_length=20)]


class ChoiceAnswer(Strict):
    """One of a few words."""

    one_of: list[Text] = Field(min_length=2, max_length=12)


class Ask(Step):
    """Ask a person to look, do or read something."""

    ask: Text
    verb: Verb
    thing: Name
    answer: Literal["done", "yes or no", "text"] | ChoiceAnswer | NumberAnswer
    expect: YesNo | list[Text] | None = None
    limit: LimitText | LimitRef | None = None
    no_limit: Text | None = None
    standard_uncertainty: AnyQuantity | None = None

    @model_validator(mode="after")
    def _fits(self) -> Ask:
        number = isinstance(self.answer, NumberAnswer)
        if number and (self.limit is None) == (self.no_limit is None):
            raise ValueError("a number needs either limit, or no-limit with the reason why there is none")
        if not number and (self.limit or self.no_limit or self.standard_uncertainty):
            raise ValueError("limit, no-limit and standard-uncertainty go with answer: {number-in: UNIT} only")
        if self.answer == "yes or no" and self.expect not in ("yes", "no"):
            raise ValueError("a yes-or-no question needs expect: yes or expect: no")
        if isinstance(self.answer, ChoiceAnswer):
            wanted = self.expect if isinstance(self.expect, list) else []
            unknown = [w for w in wanted if w not in self.answer.one_of]
            if not wanted or unknown:
                raise ValueError("a choice needs expect: a list of the answers that are good, each from one-of")
        if self.answer in ("done", "text") and self.expect is not None:
            raise ValueError("expect goes with yes-or-no questions and choices only")
        return self


class Switching(Strict):
    """Outputs to turn on and off; off comes first."""

    turn_off: list[Name] = []
    turn_on: list[Name] = []


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
    average: Annotated[int, Field(ge=1, le=100)] = 1
    settle: Duration | None = None
    energize: list[Name] = []  # on for this step only
    over_range: Literal["no reading", "open circuit"] = "no reading"


class InputEdge(Strict):
    """An input comes to a state, named in the bench's own words."""

    input: Name
    is_: Name


class QuantityEdge(Strict):
    """A bench quantity comes up (or down) to a value."""

    quantity: Name
    reaches: AnyQuantity | None = None
    falls_to: AnyQuantity | None = None

    @model_validator(mode="after")
    def _one(self) -> QuantityEdge:
        if (self.reaches is None) == (self.falls_to is None):
            raise ValueError("expected either reaches or falls-to")
        return self


class OutputEdge(Strict):
    """An output's feedback says on or off."""

    output: Name
    is_: Literal["on", "off"]


def _edge(value: Any) -> str | None:
    if not isinstance(value, dict):
        return getattr(value, "edge_kind", None)
    for key in ("input", "quantity", "output"):
        if key in value:
            return key
    return None


Edge = Annotated[
    Annotated[InputEdge, Tag("input")] | Annotated[QuantityEdge, Tag("quantity")] | Annotated[OutputEdge, Tag("output")],
    Discriminator(
        _edge,
        custom_error_type="edge",
        custom_error_message="expected {input: NAME, is: STATE}, {output: NAME, is: on} or {quantity: NAME, reaches: VALUE}",
    ),
]


class Timing(Strict):
    """From one edge to another."""

    from_: Edge
    until: Edge
    start_within: Duration
    give_up: DurationOrRef


class StartByPerson(Strict):
    """What a person does while the timing already watches."""

    ask: Text
    verb: Verb
    thing: Name


class StartBySwitch(Strict):
    """What the rig switches while the timing already watches."""

    turn_on: list[Name] = Field(min_length=1)


def _start(value: Any) -> str | None:
    if not isinstance(value, dict):
        return None
    return "switch" if "turn-on" in value else "person" if "ask" in value else None


Start = Annotated[
    Annotated[StartByPerson, Tag("person")] | Annotated[StartBySwitch, Tag("switch")],
    Discriminator(
        _start,
        custom_error_type="start",
        custom_error_message="expected {ask: QUESTION, verb: VERB, thing: NAME} or {turn-on: [OUTPUTS]}",
    ),
]


class Time(Judged):
    """Time from one edge to another; other steps may run meanwhile."""

    time: Timing
    every: Duration
    start: Start | None = None
    meanwhile: list[MeanwhileStep] = []


class Record(Judged):
    """Record a trace of bench quantities; ``judge: highest of NAME``."""

    record: list[Name] = Field(min_length=1, max_length=8)
    every: Duration
    for_: DurationOrRef | None = None
    energize: list[Name] = []
    judge: Annotated[str, Field(pattern=r"^(highest|lowest|last|mean|slope) of [a-z][a-z0-9-]*$")]


class Waveform(Judged):
    """A fast record at a test point while outputs are energized; ``judge: dip`` is the deepest fall after a rise."""

    waveform: Name
    interval: Duration
    for_: Duration
    energize: list[Name] = []
    judge: Literal["dip", "highest", "last"]


class Compute(Judged):
    """Arithmetic on earlier readings, with units."""

    compute: Annotated[str, Field(min_length=1, max_length=300)]
    in_: Annotated[str, Field(max_length=20)]


class Repeating(Strict):
    """Steps to do several times; every time is kept."""

    times: Annotated[int, Field(ge=2, le=50)]
    steps: list[InnerStep] = Field(min_length=1)


class Repeat(Step):
    """Do some steps several times."""

    repeat: Repeating


KINDS = ("ask", "switch", "settle", "measure", "time", "record", "waveform", "compute", "repeat")


def _kind(value: Any) -> str | None:
    if isinstance(value, Step):
        return type(value).__name__.lower()
    if not isinstance(value, dict):
        return None
    # 'settle' is also an option of a measurement, so the others are looked for first
    order = ("ask", "switch", "measure", "time", "record", "waveform", "compute", "repeat", "settle")
    return next((k for k in order if k in value), None)


_KIND_ERROR: dict[str, Any] = {
    "custom_error_type": "kind",
    "custom_error_message": f"a step says what it does with one of: {', '.join(KINDS)}",
}

MeanwhileStep = Annotated[
    Annotated[Measure, Tag("measure")] | Annotated[Record, Tag("record")], Discriminator(_kind, **_KIND_ERROR)
]
InnerStep = Annotated[
    Annotated[Ask, Tag("ask")]
    | Annotated[Switch, Tag("switch")]
    | Annotated[Settle, Tag("settle")]
    | Annotated[Measure, Tag("measure")]
    | Annotated[Time, Tag("time")]
    | Annotated[Record, Tag("record")]
    | Annotated[Waveform, Tag("waveform")]
    | Annotated[Compute, Tag("compute")],
    Discriminator(_kind, **_KIND_ERROR),
]
AnyStep = Annotated[
    Annotated[Ask, Tag("ask")]
    | Annotated[Switch, Tag("switch")]
    | Annotated[Settle, Tag("settle")]
    | Annotated[Measure, Tag("measure")]
    | Annotated[Time, Tag("time")]
    | Annotated[Record, Tag("record")]
    | Annotated[Waveform, Tag("waveform")]
    | Annotated[Compute, Tag("compute")]
    | Annotated[Repeat, Tag("repeat")],
    Discriminator(_kind, **_KIND_ERROR),
]


class Stage(Strict):
    """Made ready, worked, and always made safe."""

    stage: Name
    title: Text
    drive: Drive
    cautions: list[Text] = []
    needs: list[Name] = []
    after: list[Name] = []
    make_ready: list[AnyStep] = []
    steps: list[AnyStep] = Field(min_length=1)
    make_safe: list[AnyStep] = []

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
    stages: list[Stage] = Field(min_length=1)


Time.model_rebuild()
Repeating.model_rebuild()
Repeat.model_rebuild()
Procedure.model_rebuild()
