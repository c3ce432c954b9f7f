"""Waveforms: a fast record of a coil's current, and the one number that tells whether its plunger moved."""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise
from statistics import median

from rig.bench.meter_path import MeterReading
from rig.judgement.accuracy import Statement
from rig.run.readings import shunt_line
from rig.uncertainty import Line, line

FAINT = 3.0  # times the fixed part of the accuracy: a current below this is none


def figure_of(judge: str, said: MeterReading, interval: float, period: float | None) -> tuple[float, str, list[Line]]:
    """The number that is judged of a record, its canonical unit, the lines of its budget.

    ``interval`` and the mains ``period`` (for ``inrush over holding`` only) are in s."""
    scale = 1.0 if said.shunt is None else 1.0 / said.shunt
    values = [v * scale for v in said.values]
    if judge == "inrush over holding" and period is not None:
        return _inrush(values, round(period / interval), said.statement, scale)
    value = dip(values) if judge == "dip" else max(values) if judge == "highest" else values[-1]
    ends = 2.0 if judge == "dip" else 1.0
    lines = [Line("noise", noise(values) * math.sqrt(ends), "of the end of the record", "normal")]
    if said.statement is not None:
        half = said.statement.half_width(value / scale) + (ends - 1.0) * said.statement.half_width(0.0)
        lines.append(line("accuracy", half * scale, said.statement.source))
    if said.shunt is not None:
        lines.append(shunt_line(said, value))
    return value, said.unit if said.shunt is None else "A", lines


def _inrush(
    values: Sequence[float], window: int, statement: Statement | None, scale: float
) -> tuple[float, str, list[Line]]:
    """Gain and zero of the meter fall out of the ratio; its linearity, taken as the share of the reading, stays."""
    inrush, holding = inrush_and_holding(values, window)
    floor = 0.0 if statement is None else statement.half_width(0.0) * scale
    if holding <= FAINT * floor:
        return 0.0, "1", [line("accuracy", 1e-3, "no current, so no plunger that moved")]
    ratio = inrush / holding
    scattered = noise(values) / math.sqrt(window) / holding * math.hypot(1.0, ratio)
    lines = [Line("noise", scattered, "of the end of the record", "normal")]
    if statement is not None:
        share = statement.half_width(1.0) - statement.half_width(0.0)
        lines.append(line("accuracy", 2.0 * share * ratio, "the share of the reading, for want of the linearity"))
    return ratio, "1", lines


def noise(values: Sequence[float]) -> float:
    """The noise of a record: standard deviation of the neighbouring differences of its end, over the square root of
    two; for one that alternates, of the second differences over the square root of six."""
    end = values[-100:]
    first = [b - a for a, b in pairwise(end)]
    second = [b - a for a, b in pairwise(first)]
    candidates = [
        math.sqrt(math.fsum(d * d for d in steps) / (weight * len(steps)))
        for steps, weight in ((first, 2), (second, 6))
        if steps
    ]
    return min(candidates, default=0.0)


def inrush_and_holding(values: Sequence[float], window: int) -> tuple[float, float]:
    """The largest alternating part (rms about its mean) of any ``window`` of neighbouring values, and that of the last.

    With a window of one mains period the decaying DC part that comes with switching at the wrong moment counts for
    little. An AC coil draws about twice its holding current until the plunger closes the iron; one that is stuck goes
    on drawing it, and the two are alike. Raises ValueError for a record shorter than a window."""
    if not 2 <= window <= len(values):
        raise ValueError(f"expected a window of 2 to {len(values)} values, found {window}")
    middle = math.fsum(values) / len(values)
    sums, squares = [0.0], [0.0]
    for value in values:
        sums.append(sums[-1] + value - middle)
        squares.append(squares[-1] + (value - middle) ** 2)

    def rms(start: int) -> float:
        mean = (sums[start + window] - sums[start]) / window
        return math.sqrt(max(0.0, (squares[start + window] - squares[start]) / window - mean * mean))

    last = len(values) - window
    return max(rms(start) for start in range(last + 1)), rms(last)


def smoothed(values: Sequence[float], width: int = 5) -> list[float]:
    """Running median: a single wild sample leaves no trace, an edge stays where it is."""
    half = width // 2
    return [median(values[max(0, i - half) : i + half + 1]) for i in range(len(values))]


def dip(values: Sequence[float]) -> float:
    """The deepest fall after a rise: largest drop from an earlier high, of a record whose end is its steady value.

    Only drops that the record climbs out of again count, so that switching off is no dip. In the unit of ``values``;
    0 for a record that never falls. A coil whose plunger seats shows one, because its motion induces a voltage
    against the current; a stuck one does not.
    """
    smooth = smoothed(values)
    after: list[float] = []  # the highest value still to come, from the end
    high = -math.inf
    for value in reversed(smooth):
        high = max(high, value)
        after.append(high)
    after.reverse()
    deepest, before = 0.0, -math.inf
    for value, later in zip(smooth, after, strict=True):
        before = max(before, value)
        deepest = max(deepest, min(before, later) - value)
    return deepest
