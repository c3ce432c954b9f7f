"""Limits, decision rules, and verdicts.

The rules are those of ILAC-G8:09/2019, 4.2. The default is the non-binary statement with guard band of 4.2.3, with the
guard band as wide as the expanded uncertainty (w = U): the risk that a *pass* is wrong stays below 2.5 %.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, replace
from enum import StrEnum

from rig.distributions import coverage_factor, t_cdf


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
class Rule:
    """How a reading near its limit is decided: the guard band is w = ``guard`` times U, on the side of acceptance.

    ``verdicts`` is 4 (pass, conditional pass, conditional fail, fail) or 2 (pass or fail; what lies in the guard band
    fails). With ``guard`` 0 there is nothing to be conditional about: simple acceptance. A test uncertainty ratio below
    ``least_ratio`` is too poor to decide: said, or refused where ``refuse`` is set.
    """

    guard: float = 1.0
    verdicts: int = 4
    least_ratio: float = 2.0
    refuse: bool = False

    def __post_init__(self) -> None:
        if not (math.isfinite(self.guard) and self.guard >= 0) or self.verdicts not in (2, 4):
            raise ValueError("a decision rule has a guard band of 0 U or more, and two or four verdicts")
        if not (math.isfinite(self.least_ratio) and self.least_ratio >= 0):
            raise ValueError("the least test uncertainty ratio is a number from 0 on")

    def __str__(self) -> str:
        """The words of ILAC-G8:09/2019, 4.2.1 to 4.2.3."""
        if self.guard == 0:
            return "binary statement for simple acceptance (w = 0)"
        kind = "non-binary" if self.verdicts == 4 else "binary"
        return f"{kind} statement with guard band (w = {'' if self.guard == 1 else f'{self.guard:g} '}U)"


GUARDED = Rule()


@dataclass(frozen=True)
class Limit:
    """What a reading may be, in ``unit`` (canonical), who says so, and the rule by which it is decided.

    ``withheld`` says why it may not judge, and is empty where it may."""

    at_least: float | None
    at_most: float | None
    unit: str
    source: str
    shown_in: str = ""  # the unit the author wrote, for people
    rule: Rule = GUARDED
    withheld: str = ""

    def __post_init__(self) -> None:
        if self.at_least is None and self.at_most is None:
            raise ValueError("a limit needs at-least, at-most or both")
        if self.at_least is not None and self.at_most is not None and self.at_least > self.at_most:
            raise ValueError(f"the limit's at-least {self.at_least:g} lies above its at-most {self.at_most:g}")

    def margin(self, value: float) -> float:
        """How far ``value`` lies inside the nearer end; negative outside."""
        low = math.inf if self.at_least is None else value - self.at_least
        high = math.inf if self.at_most is None else self.at_most - value
        return min(low, high)

    def ratio(self, expanded: float) -> float | None:
        """Test uncertainty ratio: the span between the ends by twice the 95 % expanded uncertainty (ANSI/NCSL
        Z540.3-2006, 3.11).

        An at-most alone spans what is allowed from zero up, unless it is on a scale whose zero means nothing (Cel).
        None where there is no span, or nothing uncertain.
        """
        low, high = self.at_least, self.at_most
        if low is None and high is not None and high > 0 and self.unit != "Cel":
            low = 0.0
        if low is None or high is None or expanded <= 0:
            return None
        return (high - low) / (2.0 * expanded)

    def too_poor(self, expanded: float) -> str:
        """Why an uncertainty is too large to decide this limit by its rule, for people; empty where it is not."""
        ratio = self.ratio(expanded)
        if ratio is None or ratio >= self.rule.least_ratio:
            return ""
        return f"test uncertainty ratio {ratio:.2g}, below {self.rule.least_ratio:g}: too poor to decide"

    def acceptance(self, u: float, dof: float | None = None) -> Limit:
        """The limit drawn in by its guard band, to be decided by simple acceptance. Raises ValueError where nothing is
        left between the ends."""
        w = self.rule.guard * coverage_factor(dof) * u
        low = None if self.at_least is None else self.at_least + w
        high = None if self.at_most is None else self.at_most - w
        return replace(self, at_least=low, at_most=high, rule=Rule(guard=0.0, verdicts=2))


@dataclass(frozen=True)
class Judgement:
    """The verdict on a reading and the probability that the true value conforms."""

    verdict: Verdict
    conformance_probability: float


def conformance_probability(value: float, u: float, limit: Limit, dof: float | None = None) -> float:
    """Probability that the true value lies within the limit (JCGM 106:2012, 7.3 and 7.4).

    ``value`` and ``u`` (standard uncertainty, >= 0) are in the limit's unit. The distribution is normal, or Student's t
    scaled by ``u`` where the degrees of freedom are few (JCGM 101:2008, 6.4.9).
    """
    low, high = limit.at_least, limit.at_most
    if u <= 0:
        return float((low is None or value >= low) and (high is None or value <= high))
    above_low = 1.0 if low is None else t_cdf((value - low) / u, dof)
    above_high = 0.0 if high is None else t_cdf((value - high) / u, dof)
    return min(1.0, max(0.0, above_low - above_high))


def judge(value: float, u: float, limit: Limit, dof: float | None = None) -> Judgement:
    """Judge a finite reading by its limit's rule; U is k u, k from the degrees of freedom at 95.45 % (2 for None).

    Raises ValueError for a value that is not a number: such a value is no reading.
    """
    if not (math.isfinite(value) and math.isfinite(u) and u >= 0):
        raise ValueError("a reading that is not a finite number cannot be judged")
    rule, margin = limit.rule, limit.margin(value)
    guard = rule.guard * coverage_factor(dof) * u
    if rule.verdicts == 2 or rule.guard == 0:
        verdict = Verdict.PASS if margin >= guard else Verdict.FAIL
    elif margin >= 0:
        verdict = Verdict.PASS if margin >= guard else Verdict.CONDITIONAL_PASS
    else:
        verdict = Verdict.CONDITIONAL_FAIL if margin >= -guard else Verdict.FAIL
    return Judgement(verdict, conformance_probability(value, u, limit, dof))
