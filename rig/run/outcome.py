"""What doing a step came to, before it is written down as a result."""

from __future__ import annotations

from dataclasses import dataclass

from rig.distributions import coverage_factor
from rig.errors import RigError
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


def no_reading(culprit: str, what: str, do: str) -> Outcome:
    """No reading, with who is meant, what happened and what to do about it."""
    return Outcome(Verdict.NO_READING, reason=RigError(what, do, culprit).sentence())


def judged(reading: Reading, limit: Limit | None, reason: str | None = None) -> Outcome:
    """The outcome of a reading against its limit; one too poor for a rule that refuses it is not evaluated."""
    if limit is not None and limit.withheld:
        return Outcome(Verdict.NOT_EVALUATED, reading, limit.withheld)
    verdict, probability, why = judge_reading(reading, limit)
    poor = "" if limit is None or reading.bound else limit.too_poor(expanded(reading))
    if limit is not None and poor and limit.rule.refuse:
        return Outcome(Verdict.NOT_EVALUATED, reading, poor)
    return Outcome(verdict, reading, reason or why or poor or None, probability)


def expanded(reading: Reading) -> float:
    """U of a reading: k u, k from its degrees of freedom."""
    return coverage_factor(reading.dof) * reading.u


def ratio_of(reading: Reading | None, limit: Limit | None) -> float | None:
    """The test uncertainty ratio of a reading that is judged; None where there is none."""
    if reading is None or limit is None or reading.bound is not None or reading.unit != limit.unit:
        return None
    return limit.ratio(expanded(reading))
