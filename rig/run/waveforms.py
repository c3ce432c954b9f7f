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
PERIODS = 3  # of the mains, in which an AC plunger has moved or is stuck (common practice: one to three half waves)
BEGINS = 0.05  # of the holding current: where a record of an AC coil begins
DECAYS = tuple(0.05 * 60.0 ** (n / 19) for n in range(20))  # mains periods in which a coil's DC part dies away


def figure_of(judge: str, said: MeterReading, interval: float, period: float | None) -> tuple[float, str, list[Line]]:
    """The number that is judged of a record, its canonical unit, the lines of its budget.

    ``interval`` and the mains ``period`` (for ``inrush to holding`` only) are in s."""
    scale = 1.0 if said.shunt is None else 1.0 / said.shunt
    values = [v * scale for v in said.values]
    if judge == "inrush to holding" and period is not None:
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
    """Gain and zero of the meter fall out of the quotient; its linearity, taken as the share of the reading, stays."""
    holding = _rms(values[-window:])
    floor = 0.0 if statement is None else statement.half_width(0.0) * scale
    if holding <= FAINT * floor:
        return 0.0, "%", [line("accuracy", 0.1, "no current, so no plunger that moved")]
    change = 100.0 * inrush_to_holding(values, window)
    lines = [Line("noise", 100.0 * noise(values) / holding, "of the end of the record", "normal")]
    if statement is not None:
        share = statement.half_width(1.0) - statement.half_width(0.0)
        lines.append(line("accuracy", share * change, "the share of the reading, for want of the linearity"))
    return change, "%", lines


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


def inrush_to_holding(values: Sequence[float], window: int) -> float:
    """How far the current of an AC coil departs, from switching on, from that of a coil whose plunger does not move:
    rms over the first three mains periods, as a part of the holding current (rms of the last period).

    A coil with its plunger at rest, seated or stuck, is a resistance and an inductance: its current is a sine and an
    exponential, whatever the moment of switching (the solution of L di/dt + R i = V sin(wt + p)). The best such curve
    is taken off. A plunger that seats more than doubles the inductance within a few milliseconds, and no such curve
    follows that; a stuck one leaves next to nothing. ``window`` is the number of values in a mains period. Raises
    ValueError for a record shorter than three periods."""
    if not (window >= 5 and PERIODS * window <= len(values)):
        raise ValueError(f"expected a record of {PERIODS} periods or more, found {len(values)} values of {window} each")
    holding = _rms(values[-window:])
    begins = next((n for n, value in enumerate(values) if abs(value) > BEGINS * holding), 0)
    course = values[begins : begins + PERIODS * window]
    rests = (_rest(course, window, decay) for decay in DECAYS)
    return min(rests) / holding


def _rms(values: Sequence[float]) -> float:
    """Rms about the mean."""
    mean = math.fsum(values) / len(values)
    return math.sqrt(math.fsum((v - mean) ** 2 for v in values) / len(values))


def _rest(course: Sequence[float], window: int, decay: float) -> float:
    """Rms of what the best sine with an exponential of ``decay`` periods leaves of a course (least squares)."""
    turn = 2.0 * math.pi / window
    curves = [
        [math.sin(turn * n) for n in range(len(course))],
        [math.cos(turn * n) for n in range(len(course))],
        [math.exp(-n / window / decay) for n in range(len(course))],
    ]
    rest = list(course)
    fitted: list[list[float]] = []
    for curve in curves:  # Gram and Schmidt: each made square to those before it, then taken off
        square = curve
        for other in fitted:
            along = _product(square, other)
            square = [a - along * b for a, b in zip(square, other, strict=True)]
        size = math.sqrt(_product(square, square))
        square = [value / size for value in square]
        fitted.append(square)
        share = _product(rest, square)
        rest = [r - share * value for r, value in zip(rest, square, strict=True)]
    return math.sqrt(_product(rest, rest) / len(rest))


def _product(a: Sequence[float], b: Sequence[float]) -> float:
    return math.fsum(x * y for x, y in zip(a, b, strict=True))


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
