"""Standard uncertainty: how the parts are found and added (GUM, JCGM 100:2008)."""

from __future__ import annotations

import math
from collections.abc import Sequence


def rectangular(half_width: float) -> float:
    """Standard uncertainty of a value known only to lie within ±``half_width`` (GUM 4.3.7)."""
    return abs(half_width) / math.sqrt(3.0)


def resolution(step: float) -> float:
    """Standard uncertainty from a display or converter that counts in ``step`` (GUM F.2.2.1)."""
    return abs(step) / math.sqrt(12.0)


def type_a(values: Sequence[float]) -> float:
    """Experimental standard deviation of the mean of repeated readings (GUM 4.2.3); 0 for fewer than two."""
    n = len(values)
    if n < 2:
        return 0.0
    mean = math.fsum(values) / n
    return math.sqrt(math.fsum((v - mean) ** 2 for v in values) / (n - 1) / n)


def combine(parts: Sequence[float]) -> float:
    """Combined standard uncertainty of uncorrelated parts (GUM 5.1.2, sensitivities already applied)."""
    return math.sqrt(math.fsum(p * p for p in parts))


def shown(value: float, expanded: float, unit: str) -> str:
    """A reading for a person: uncertainty to two significant digits (GUM 7.2.6), the value to match.

    >>> shown(82.4123, 0.104, "s")
    '82.41 s ± 0.10 s'
    """
    if expanded <= 0 or not math.isfinite(expanded):
        return f"{value:.6g} {unit}"
    digits = 1 - math.floor(math.log10(expanded))
    rounded = round(expanded, digits)
    if rounded > 0:  # 0.0996 becomes 0.10, which has one digit less to show
        digits = 1 - math.floor(math.log10(rounded))
    places = max(digits, 0)
    return f"{round(value, digits):.{places}f} {unit} ± {rounded:.{places}f} {unit}"
