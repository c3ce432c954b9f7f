"""Control charts of a reference part over the shifts: individuals with moving range, and EWMA.

NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2 and 6.3.2.4. A chart is made from earlier checks alone; the
new value is then held against it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

D2 = 1.128  # expected range of two normal values in standard deviations, as the handbook rounds it (1.12838)
WIDTH = 3.0  # standard deviations from the centre to a limit
WEIGHT = 0.2  # of the newest value in an EWMA; 0.2 to 0.3 finds shifts of about one standard deviation (6.3.2.4)


@dataclass(frozen=True)
class Individuals:
    """An individuals chart: centre, mean moving range, and limits, in the unit of the values."""

    centre: float
    moving_range: float
    lower: float
    upper: float

    @property
    def sigma(self) -> float:
        """Standard deviation from the moving ranges."""
        return self.moving_range / D2


def individuals(values: Sequence[float]) -> Individuals:
    """The chart of values in their order (6.3.2.2). Raises ValueError for fewer than two."""
    if len(values) < 2:
        raise ValueError("a chart of individuals needs at least two values")
    centre = math.fsum(values) / len(values)
    moving = math.fsum(abs(b - a) for a, b in pairwise(values)) / (len(values) - 1)
    reach = WIDTH * moving / D2
    return Individuals(centre, moving, centre - reach, centre + reach)


@dataclass(frozen=True)
class Ewma:
    """An EWMA chart: the average after each value, and the limits that it settles to."""

    averages: tuple[float, ...]
    lower: float
    upper: float


def ewma(values: Sequence[float], target: float, sigma: float, weight: float = WEIGHT) -> Ewma:
    """The exponentially weighted moving average of values from ``target`` on, with its limits (6.3.2.4).

    ``sigma`` is the standard deviation of a single value. Raises ValueError for a weight outside 0 < weight <= 1.
    """
    if not 0 < weight <= 1:
        raise ValueError(f"the weight of an average lies above 0 and up to 1, found {weight:g}")
    averages, last = [], target
    for value in values:
        last = weight * value + (1.0 - weight) * last
        averages.append(last)
    reach = WIDTH * sigma * math.sqrt(weight / (2.0 - weight))
    return Ewma(tuple(averages), target - reach, target + reach)


FEWEST = 8  # earlier checks from which a chart is drawn; the part's own limits judge alone before that


@dataclass(frozen=True)
class State:
    """What the charts say of the newest check of one part; ``warning`` is empty when nothing is."""

    chart: Individuals | None
    average: Ewma | None
    warning: str
    bad: bool  # beyond the part's own limits: the bench is not fit


def state(earlier: Sequence[float], newest: float, lower: float, upper: float, floor: float = 0.0) -> State:
    """Hold the newest value of a part against its limits and against the chart of its earlier values (oldest first).

    ``floor`` is the least standard deviation that is believed (the instrument's resolution): a row of equal values has
    none of its own. A warning comes before a limit is crossed: the value or its average leaves the chart, or the chart
    about the average reaches beyond the limits.
    """
    if not lower <= newest <= upper:
        return State(None, None, f"{newest:.6g} is beyond its limits {lower:.6g} to {upper:.6g}", True)
    if len(earlier) < FEWEST:
        return State(None, None, "", False)
    chart = individuals(earlier)
    sigma = max(chart.sigma, floor)
    average = ewma([*earlier, newest], chart.centre, sigma)
    chart = Individuals(chart.centre, chart.moving_range, chart.centre - WIDTH * sigma, chart.centre + WIDTH * sigma)
    return State(chart, average, _warning(chart, average, newest, lower, upper), False)


def _warning(chart: Individuals, average: Ewma, newest: float, lower: float, upper: float) -> str:
    if not chart.lower <= newest <= chart.upper:
        return f"{newest:.6g} is unlike its earlier checks ({chart.lower:.6g} to {chart.upper:.6g})"
    last = average.averages[-1]
    if not average.lower <= last <= average.upper:
        return f"drifts: its average is {last:.6g}, outside {average.lower:.6g} to {average.upper:.6g}"
    reach = chart.upper - chart.centre
    if last - reach < lower or last + reach > upper:
        return f"scatters as far as its limits: it lies at {last:.6g} and reaches {reach:.2g} to either side"
    return ""
