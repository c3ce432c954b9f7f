"""Limits, the decision rule, and verdicts.

The default rule is the non-binary statement with guard band of ILAC-G8:09/2019, 4.2.3, with the guard band as
wide as the expanded uncertainty (w = U, k = 2): the risk that a *pass* is wrong stays below 2.5 %.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum


class Verdict(StrEnum):
    """What can be said of a step, worst first: a run is as good as its worst step."""

    STOPPED = "stopped"
    NO_READING = "no reading"
    FAIL = "fail"
    CONDITIONAL_FAIL = "conditional fail"
    NOT_EVALUATED = "not evaluated"
    CONDITIONAL_PASS = "conditional pass"
    PASS = "pass"
    NOT_RUN = "not run"

    @property
    def good(self) -> bool:
        """Whether a step that depends on this one may go on."""
        return self in (Verdict.PASS, Verdict.CONDITIONAL_PASS)


_ORDER = {v: n for n, v in enumerate(Verdict)}


def worst(verdicts: Iterable[Verdict]) -> Verdict:
    """The verdict of a run; *not run* only where no step was run."""
    return min(verdicts, key=_ORDER.__getitem__, default=Verdict.NOT_RUN)


@dataclass(frozen=True)
class Limit:
    """What a reading may be, in ``unit`` (canonical), and who says so."""

    at_least: float | None
    at_most: float | None
    unit: str
    source: str
    shown_in: str = ""  # the unit the author wrote, for people

    def __post_init__(self) -> None:
        if self.at_least is None and self.at_most is None:
            raise ValueError("a limit needs at-least, at-most or both")
        if self.at_least is not None and self.at_most is not None and self.at_least > self.at_most:
            raise ValueError(f"the limit's at-least {self.at_least:g} lies above its at-most {self.at_most:g}")


@dataclass(frozen=True)
class Judgement:
    """The verdict on a reading and the probability that the true value conforms."""

    verdict: Verdict
    conformance_probability: float


def normal_cdf(z: float) -> float:
    """The standard normal distribution function."""
    return 0.5 * math.erfc(-z / math.sqrt(2.0))


def conformance_probability(value: float, u: float, limit: Limit) -> float:
    """Probability that the true value lies within the limit (JCGM 106:2012, 7.3 and 7.4, normal distribution).

    ``value`` and ``u`` (standard uncertainty, >= 0) are in the limit's unit.
    """
    low, high = limit.at_least, limit.at_most
    if u <= 0:
        return float((low is None or value >= low) and (high is None or value <= high))
    above_low = 1.0 if low is None else normal_cdf((value - low) / u)
    above_high = 0.0 if high is None else normal_cdf((value - high) / u)
    return min(1.0, max(0.0, above_low - above_high))


def judge(value: float, u: float, limit: Limit, k: float = 2.0) -> Judgement:
    """Judge a finite reading. Raises ValueError for one that is not a number: such a value is no reading."""
    if not (math.isfinite(value) and math.isfinite(u) and u >= 0):
        raise ValueError("a reading that is not a finite number cannot be judged")
    guard = k * u
    margins = []
    if limit.at_least is not None:
        margins.append(value - limit.at_least)
    if limit.at_most is not None:
        margins.append(limit.at_most - value)
    margin = min(margins)
    if margin >= guard:
        verdict = Verdict.PASS
    elif margin >= 0:
        verdict = Verdict.CONDITIONAL_PASS
    elif margin >= -guard:
        verdict = Verdict.CONDITIONAL_FAIL
    else:
        verdict = Verdict.FAIL
    return Judgement(verdict, conformance_probability(value, u, limit))
