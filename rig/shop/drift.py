"""Whether the latest values of a step have left the chart of those before them."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from rig.health.charts import FEWEST, WIDTH, ewma, individuals


def drift(values: Sequence[float]) -> dict[str, Any] | None:
    """What the charts say of values in their order; None where they say nothing. ``shift`` is the distance of the
    average from the centre in standard deviations."""
    half = len(values) // 2
    if half < FEWEST:
        return None
    chart = individuals(values[:half])
    if chart.sigma <= 0:
        return None
    average = ewma(values[half:], chart.centre, chart.sigma)
    last = average.averages[-1]
    if average.lower <= last <= average.upper:
        return None
    what = {"centre": chart.centre, "average": last, "lower": average.lower, "upper": average.upper}
    return what | {"shift": (last - chart.centre) / chart.sigma, "chart_lower": chart.centre - WIDTH * chart.sigma,
                   "chart_upper": chart.centre + WIDTH * chart.sigma}  # fmt: skip
