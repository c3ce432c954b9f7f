"""What people are asked for: closed verbs, kinds of answers, and which answers are good."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import Field, Tag

from rig.plan.values import Strict, Text, UnitCode, YesNo, chosen

Verb = Literal["look", "pour", "weigh", "move-lead", "press", "measure", "confirm"]


class NumberAnswer(Strict):
    """A number with a unit, read by a person."""

    number_in: UnitCode


class ChoiceAnswer(Strict):
    """One of a few words."""

    one_of: tuple[Text, ...] = Field(min_length=2, max_length=12)


def _answer(value: Any) -> str | None:
    if isinstance(value, (NumberAnswer, ChoiceAnswer)):
        return type(value).__name__
    if isinstance(value, str):
        return "word"
    if not isinstance(value, dict):
        return None
    return "NumberAnswer" if "number-in" in value else "ChoiceAnswer" if "one-of" in value else None


Answer = Annotated[
    Annotated[Literal["done", "yes or no", "text"], Tag("word")]
    | Annotated[ChoiceAnswer, Tag("ChoiceAnswer")]
    | Annotated[NumberAnswer, Tag("NumberAnswer")],
    chosen(_answer, "expected done, yes or no, text, {one-of: [ANSWERS]} or {number-in: UNIT}"),
]


def _expect(value: Any) -> str | None:
    return "word" if isinstance(value, str) else "list" if isinstance(value, (list, tuple)) else None


Expect = Annotated[
    Annotated[YesNo, Tag("word")] | Annotated[tuple[Text, ...], Tag("list")],
    chosen(_expect, "expected yes, no, or a list of the answers that are good"),
]
