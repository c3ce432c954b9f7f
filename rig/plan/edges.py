"""Edges as written in a procedure: what begins and ends a timing, and who starts it."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import Field, Tag, model_validator

from rig.plan.answers import Verb
from rig.plan.values import AnyQuantity, Duration, DurationOrRef, Name, Strict, Text, chosen


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
    if isinstance(value, (InputEdge, OutputEdge, QuantityEdge)):
        return type(value).__name__
    if not isinstance(value, dict):
        return None
    words = {"input": "InputEdge", "quantity": "QuantityEdge", "output": "OutputEdge"}
    return next((edge for word, edge in words.items() if word in value), None)


Edge = Annotated[
    Annotated[InputEdge, Tag("InputEdge")]
    | Annotated[QuantityEdge, Tag("QuantityEdge")]
    | Annotated[OutputEdge, Tag("OutputEdge")],
    chosen(
        _edge, "expected {input: NAME, is: STATE}, {output: NAME, is: on or off} or {quantity: NAME, reaches: VALUE}"
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

    turn_on: tuple[Name, ...] = Field(min_length=1)


def _start(value: Any) -> str | None:
    if isinstance(value, (StartByPerson, StartBySwitch)):
        return type(value).__name__
    if not isinstance(value, dict):
        return None
    return "StartBySwitch" if "turn-on" in value else "StartByPerson" if "ask" in value else None


Start = Annotated[
    Annotated[StartByPerson, Tag("StartByPerson")] | Annotated[StartBySwitch, Tag("StartBySwitch")],
    chosen(_start, "expected {ask: QUESTION, verb: VERB, thing: NAME} or {turn-on: [OUTPUTS]}"),
]
