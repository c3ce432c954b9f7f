"""How papers write things: readings, limits, dates, safe text. The same words on every paper."""

from __future__ import annotations

from rig.events import StepResult
from rig.plan.visible import visible
from rig.shown.numbers import limit_text, reading_text, shown_together

DECISION_RULE = (
    "Non-binary statement with guard band (ILAC-G8:09/2019, 4.2.3), the guard band as wide as the expanded uncertainty "
    "U (k = 2, about 95 %). Pass: inside the limit by U or more; the risk that this is wrong is below 2.5 %. "
    "Conditional pass: inside by less than U. Conditional fail and fail: the same, outside."
)
PRACTICE = "PRACTICE"
PRACTICE_SAYS = "PRACTICE: made for training, on simulated units. Not valid for shipping, nor for any real unit."


def text(value: object, longest: int = 400) -> str:
    """Text from outside, on one line, with everything that does not print written as an escape."""
    return visible(value, longest)


def when(utc: str) -> str:
    """``2026-03-02 08:15 UTC``."""
    return f"{utc[:16].replace('T', ' ')} UTC"


def reading_of(step: StepResult) -> str:
    """The reading with its expanded uncertainty, in the unit in which its limit is written; or the answer."""
    if step.reading is None:
        return text(step.answer, 80) if step.answer is not None else "–"
    shown = shown_together(step.reading, step.limit)
    return reading_text(shown.value, shown.expanded, shown.unit, step.reading.bound, True)


def limit_of(step: StepResult) -> str:
    """The limit, in its author's unit."""
    if step.reading is not None:
        shown = shown_together(step.reading, step.limit).limit
        return "–" if shown is None else limit_text(shown, True)
    return "–" if step.limit is None else limit_text(step.limit, True)


def who_of(step: StepResult, by: str) -> str:
    """Who took the reading."""
    return text(step.reading.by if step.reading is not None and step.reading.by else by, 60)
