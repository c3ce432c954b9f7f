"""How often a decision rule is wrong (JCGM 106:2012, clause 9), and guard bands from the test uncertainty ratio.

The producer's process and the measurement are normal. Everything is in one unit.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

from rig.distributions import normal_cdf, normal_quantile
from rig.limits import Limit

STEPS = 2000  # of Simpson's rule over the process: good to 1e-9 for ratios up to 100
WIDE = 9.0  # standard deviations: what lies beyond is less than 1e-18


@dataclass(frozen=True)
class Prior:
    """What is known of the items before they are measured: mean and standard deviation of the process."""

    mean: float
    u: float

    def conforming(self, limit: Limit) -> float:
        """The share of items that conform."""
        return _between(limit, self.mean, self.u)


@dataclass(frozen=True)
class Risks:
    """``consumer``: share of all items that are accepted and do not conform. ``producer``: rejected, and conform."""

    consumer: float
    producer: float


def _between(limit: Limit, mean: float, u: float) -> float:
    """The probability of a normal distribution between the ends of a limit, taken in the nearer tail."""
    low = -math.inf if limit.at_least is None else (limit.at_least - mean) / u
    high = math.inf if limit.at_most is None else (limit.at_most - mean) / u
    return normal_cdf(-low) - normal_cdf(-high) if low > 0 else normal_cdf(high) - normal_cdf(low)


def risks(limit: Limit, acceptance: Limit, prior: Prior, u: float) -> Risks:
    """Global consumer's and producer's risk (JCGM 106:2012, 9.4, equations 17 and 19).

    ``acceptance`` are the ends within which a measured value is accepted, ``u`` > 0 the standard uncertainty of the
    measurement. Raises ValueError where ``u`` or the prior's is not above zero.
    """
    if u <= 0 or prior.u <= 0:
        raise ValueError("risks need uncertainties above zero")

    def wrongly_accepted(true: float) -> float:
        return _density(true, prior) * _between(acceptance, true, u)

    def wrongly_rejected(true: float) -> float:
        return _density(true, prior) * (1.0 - _between(acceptance, true, u))

    far = WIDE * prior.u
    start, end = prior.mean - far, prior.mean + far
    low = start if limit.at_least is None else min(max(limit.at_least, start), end)
    high = end if limit.at_most is None else min(max(limit.at_most, start), end)
    narrow = min(prior.u, u)
    below = 0.0 if limit.at_least is None else _simpson(wrongly_accepted, start, low, narrow)
    above = 0.0 if limit.at_most is None else _simpson(wrongly_accepted, high, end, narrow)
    return Risks(below + above, _simpson(wrongly_rejected, low, high, narrow))


def _density(x: float, prior: Prior) -> float:
    z = (x - prior.mean) / prior.u
    return math.exp(-0.5 * z * z) / (prior.u * math.sqrt(2.0 * math.pi))


def _simpson(f: Callable[[float], float], low: float, high: float, narrow: float) -> float:
    if high <= low:
        return 0.0
    steps = max(STEPS, 2 * math.ceil((high - low) / narrow * 20))
    h = (high - low) / steps
    weights = (1.0 if n in (0, steps) else 4.0 if n % 2 else 2.0 for n in range(steps + 1))
    return math.fsum(w * f(low + n * h) for n, w in enumerate(weights)) * h / 3.0


def posterior(prior: Prior, value: float, u: float) -> Prior:
    """What is known of one item once it was measured (JCGM 106:2012, 7.2: normal prior, normal measurement)."""
    weight = prior.u**2 / (prior.u**2 + u**2)
    return Prior(prior.mean + weight * (value - prior.mean), math.sqrt(weight) * u)


def process_width(in_tolerance: float) -> float:
    """Standard deviation of a centred process, as a share of the tolerance ±1, of which this share conforms."""
    return 1.0 / normal_quantile((1.0 + in_tolerance) / 2.0)


def managed_risk_multiplier(ratio: float) -> float:
    """M of the guard band w = M U that keeps false acceptance at or below 2 % whatever the process.

    Dobbert, NCSLI 2008; method 6 of the Z540.3 handbook. Negative where no guard band is needed. Raises ValueError for
    a ratio not above 0.
    """
    if ratio <= 0:
        raise ValueError("a ratio of tolerance to uncertainty is above zero")
    return 1.04 - math.exp(0.38 * math.log(ratio) - 0.54)


def rss_acceptance(ratio: float) -> float:
    """Acceptance over tolerance, sqrt(1 - 1/TUR^2) (Deaver): 0 for a ratio of 1 or less."""
    return math.sqrt(max(0.0, 1.0 - 1.0 / ratio**2))
