"""What doing a step came to, before it is written down as a result."""

from __future__ import annotations

from dataclasses import dataclass

from rig.events import Reading
from rig.limits import Limit, Verdict
from rig.run.readings import judge_reading


@dataclass(frozen=True)
class Outcome:
    """A verdict and what stands behind it."""

    verdict: Verdict
    reading: Reading | None = None
    reason: str | None = None
    probability: float | None = None
    bracket: tuple[float, float] | None = None
    answer: str | None = None


def judged(reading: Reading, limit: Limit | None, reason: str | None = None) -> Outcome:
    """The outcome of a reading against its limit."""
    verdict, probability, why = judge_reading(reading, limit)
    return Outcome(verdict, reading, reason or why, probability)
