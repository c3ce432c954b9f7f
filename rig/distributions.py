"""The normal distribution and Student's t, as judging needs them: exact, quick, and without a numeric library."""

from __future__ import annotations

import math
from functools import lru_cache

MANY = 1000  # degrees of freedom that count as infinite: beyond them k changes by less than 0.2 %
P95 = math.erf(math.sqrt(2.0))  # 95.45 %: the coverage that k = 2 gives a normal distribution (GUM 6.3.3)


def normal_cdf(z: float) -> float:
    """The standard normal distribution function."""
    return 0.5 * math.erfc(-z / math.sqrt(2.0))


def normal_quantile(p: float) -> float:
    """The z with ``normal_cdf(z) == p``. Raises ValueError outside 0 < p < 1."""
    from statistics import NormalDist

    return NormalDist().inv_cdf(p)


def whole_dof(dof: float | None) -> int | None:
    """Degrees of freedom as tables have them: cut to the next lower whole number (GUM G.4.1), at least 1; None for
    infinitely many."""
    if dof is None or dof > MANY:
        return None
    return max(1, math.floor(dof + 1e-9))


def t_cdf(t: float, dof: float | None) -> float:
    """Student's distribution function for whole degrees of freedom, by its closed form (Abramowitz and Stegun, 26.7.3
    and 26.7.4); the normal one for None."""
    nu = whole_dof(dof)
    if nu is None:
        return normal_cdf(t)
    angle = math.atan2(t, math.sqrt(nu))
    sine, cosine2 = math.sin(angle), math.cos(angle) ** 2
    if nu % 2:
        term, total = math.cos(angle), 0.0
        for n in range(3, nu + 1, 2):
            total += term
            term *= cosine2 * (n - 1) / n
        inside = 2.0 / math.pi * (angle + sine * total)
    else:
        term, total = 1.0, 0.0
        for n in range(2, nu + 1, 2):
            total += term
            term *= cosine2 * (n - 1) / n
        inside = sine * total
    return min(1.0, max(0.0, 0.5 * (1.0 + inside)))


@lru_cache(maxsize=4096)
def _t_quantile(p: float, nu: int) -> float:
    low, high = 0.0, 1.0
    while t_cdf(high, nu) < p:
        high *= 2.0
    for _ in range(80):
        middle = (low + high) / 2.0
        low, high = (middle, high) if t_cdf(middle, nu) < p else (low, middle)
    return (low + high) / 2.0


def t_quantile(p: float, dof: float | None) -> float:
    """The t with ``t_cdf(t, dof) == p`` for 0 < p < 1. Raises ValueError outside."""
    if not 0.0 < p < 1.0:
        raise ValueError(f"a probability lies between 0 and 1, not at {p:g}")
    nu = whole_dof(dof)
    if nu is None:
        return normal_quantile(p)
    return _t_quantile(p, nu) if p >= 0.5 else -_t_quantile(1.0 - p, nu)


def coverage_factor(dof: float | None, p: float = P95) -> float:
    """k of an interval that covers with probability ``p`` (GUM G.3.2): 2 for infinitely many degrees of freedom."""
    if p == P95 and whole_dof(dof) is None:
        return 2.0
    return t_quantile((1.0 + p) / 2.0, dof)
