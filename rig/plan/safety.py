"""The safety part of a bench file: interlocks, circuits that must be proved dead, and boards' own watchdogs."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import Field, Tag, model_validator

from rig.plan.values import AnyQuantity, Duration, Name, Strict, Text, chosen

Layer = Literal["wiring", "board", "program"]


class InputHolds(Strict):
    """An input is in a state."""

    input: Name
    is_: Name


class OutputHolds(Strict):
    """Another output is off, or on, by its feedback."""

    output: Name
    is_: Literal["on", "off"]


class QuantityHolds(Strict):
    """A bench quantity lies within bounds, and the value is not older than stated."""

    quantity: Name
    at_least: AnyQuantity | None = None
    at_most: AnyQuantity | None = None
    no_older_than: Duration

    @model_validator(mode="after")
    def _bounded(self) -> QuantityHolds:
        if self.at_least is None and self.at_most is None:
            raise ValueError("expected at-least, at-most or both")
        return self


class QuantityRises(Strict):
    """A bench quantity rises by so much in so long while the output is on, until it has come to ``until``."""

    quantity: Name
    rises: AnyQuantity
    within: Duration
    until: AnyQuantity
    no_older_than: Duration


class StepConfirmed(Strict):
    """A step of this name has passed in this run, by a person or by a reading."""

    confirmed: Name


def _condition(value: Any) -> str | None:
    if isinstance(value, (InputHolds, OutputHolds, QuantityHolds, QuantityRises, StepConfirmed)):
        return _MARKS[type(value)]
    if not isinstance(value, dict):
        return None
    if "quantity" in value:
        return "rises" if "rises" in value else "quantity"
    return next((k for k in ("input", "output", "confirmed") if k in value), None)


_MARKS: dict[type[Strict], str] = {
    InputHolds: "input",
    OutputHolds: "output",
    QuantityHolds: "quantity",
    QuantityRises: "rises",
    StepConfirmed: "confirmed",
}
Condition = Annotated[
    Annotated[InputHolds, Tag("input")]
    | Annotated[OutputHolds, Tag("output")]
    | Annotated[QuantityHolds, Tag("quantity")]
    | Annotated[QuantityRises, Tag("rises")]
    | Annotated[StepConfirmed, Tag("confirmed")],
    chosen(
        _condition,
        "expected {input: NAME, is: STATE}, {output: NAME, is: off}, {quantity: NAME, at-most: VALUE, "
        "no-older-than: TIME}, {quantity: NAME, rises: VALUE, within: TIME, until: VALUE, no-older-than: TIME} "
        "or {confirmed: STEP}",
    ),
]


class Interlock(Strict):
    """A condition that must hold for outputs to be on. While they are on, any state of an input under ``unless`` lifts
    it; it never lets them go on. ``also`` names the layers below this program that hold it."""

    for_: tuple[Name, ...] = Field(min_length=1)
    must: Condition
    unless: tuple[InputHolds, ...] = ()
    because: Text
    also: tuple[Layer, ...] = ()


class WiringOnly(Strict):
    """An interlock that only the wiring can give; the roll call names it, the program cannot test it."""

    because: Text


Volts = Literal["DC volts", "AC volts"]


def _volts(value: Any) -> str | None:
    return "one" if isinstance(value, str) else "both" if isinstance(value, (list, tuple)) else None


AnyVolts = Annotated[
    Annotated[Volts, Tag("one")] | Annotated[Annotated[tuple[Volts, ...], Field(min_length=1)], Tag("both")],
    chosen(_volts, "expected DC volts, AC volts, or a list of the two"),
]


class Circuit(Strict):
    """How a circuit is proved dead before ohms: three readings over a second at a test point, each below a voltage,
    with each function that is named: a meter that is set to AC is blind to DC. A circuit that nothing can make
    live says ``never-live`` and why."""

    test_point: Name | None = None
    measure: AnyVolts | None = None
    range: AnyQuantity | None = None
    below: AnyQuantity | None = None
    never_live: Text | None = None

    @model_validator(mode="after")
    def _either(self) -> Circuit:
        how = (self.test_point, self.measure, self.range, self.below)
        given = [h for h in how if h is not None]
        if len(given) != (len(how) if self.never_live is None else 0):
            raise ValueError("expected test-point, measure, range and below; or never-live with the reason")
        return self

    @property
    def functions(self) -> tuple[Volts, ...]:
        """What is measured there; nothing where it is never live."""
        return () if self.measure is None else (self.measure,) if isinstance(self.measure, str) else self.measure


class BoardWatchdog(Strict):
    """A relay board's communication watchdog: the holding register that keeps its time, and the time to set.

    The board drops every coil when it has heard nothing for ``time``; the register counts in ``unit``. A board without
    one says ``none``, and the bench is told so at every start."""

    @model_validator(mode="after")
    def _in_counts(self) -> BoardWatchdog:
        counts = self.time.to("s") / self.unit.to("s")
        if not (1 <= counts <= 65535 and 2.0 <= self.time.to("s") <= 60.0):
            raise ValueError(
                f"a watchdog's time is 2 s to 60 s, and 1 to 65535 counts of its unit; found {self.time} of {self.unit}"
            )
        return self

    register_: Annotated[int, Field(strict=True, ge=0, le=65535)]
    unit: Duration
    time: Duration


def _watchdog(value: Any) -> str | None:
    return "word" if isinstance(value, str) else "board" if isinstance(value, (dict, BoardWatchdog)) else None


Watchdog = Annotated[
    Annotated[Literal["none"], Tag("word")] | Annotated[BoardWatchdog, Tag("board")],
    chosen(_watchdog, "expected none, or {register: NUMBER, unit: TIME, time: TIME}"),
]
