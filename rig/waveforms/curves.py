"""What the course of a slow quantity tells: when it begins to rise, where it settles, how far it overshoots, how fast a
closed vessel leaks. Times are in s and rising, values in one unit; every number comes with a standard uncertainty from
the scatter of the points, with its degrees of freedom."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

FEWEST = 8  # points, without which a course tells nothing


@dataclass(frozen=True)
class Found:
    """A number of a course: value, standard uncertainty from scatter, degrees of freedom; ``remark`` is for people."""

    value: float
    u: float
    dof: float
    remark: str = ""


def _course(times: Sequence[float], values: Sequence[float]) -> tuple[Array, Array]:
    t, v = np.asarray(times, dtype=np.float64), np.asarray(values, dtype=np.float64)
    if t.size != v.size or t.size < FEWEST or not (np.all(np.isfinite(t)) and np.all(np.isfinite(v))):
        raise ValueError(f"expected a course of {FEWEST} finite points or more, found {t.size}")
    if np.any(np.diff(t) <= 0):
        raise ValueError("the times of a course must rise")
    return t, v


def line_through(t: Array, v: Array) -> tuple[float, float, float]:
    """Slope of the straight line of least squares, its standard uncertainty, and the line's value at the mean time
    (JCGM 100:2008, H.3, with the times taken as exact)."""
    off = t - t.mean()
    square = float(off @ off)
    slope = float(off @ v) / square
    rest = v - v.mean() - slope * off
    return slope, math.sqrt(float(rest @ rest) / max(1, t.size - 2) / square), float(v.mean())


RISING = (0.2, 0.6)  # of the whole rise: the stretch whose line is drawn back to where it began


def onset(times: Sequence[float], values: Sequence[float]) -> Found:
    """When a quantity that stood still begins to rise: the line through the early rise meets the level before it.

    In s from the first point. Raises ValueError for a course that does not rise clear of its scatter, or has no level
    before.
    """
    t, v = _course(times, values)
    level_points = max(3, t.size // 20)
    level = float(np.median(v[:level_points]))
    span = float(np.max(v)) - level
    noise = float(np.std(np.diff(v), ddof=1)) / math.sqrt(2.0)
    if span <= max(8.0 * noise, 0.0) or span == 0.0:
        raise ValueError("the quantity does not begin to rise in this record")
    first, last = (int(np.argmax(v >= level + share * span)) for share in RISING)
    if last - first < 2:
        raise ValueError("the rise is too steep for the points of this record: record more often")
    slope, u_slope, middle = line_through(t[first : last + 1], v[first : last + 1])
    mean_t = float(t[first : last + 1].mean())
    at = mean_t - (middle - level) / slope
    standing = v[t < at]
    if at < t[level_points - 1] or standing.size < 2:
        raise ValueError("the record begins after the rise")
    scatter = float(np.std(standing, ddof=1)) / math.sqrt(standing.size)
    u = math.hypot((middle - level) / slope**2 * u_slope, scatter / slope)
    step = float(np.median(np.diff(t)))
    return Found(at - float(t[0]), math.hypot(u, step / math.sqrt(12.0)), float(last - first - 1))


SETTLED = 0.2  # of the record, at its end, in which it is taken to have settled


def plateau(times: Sequence[float], values: Sequence[float]) -> Found:
    """The level at which a quantity settles: the mean of the last fifth. Its uncertainty is the scatter of single
    points, for a controlled temperature swings slowly and neighbours are alike. Raises ValueError for too few points.
    """
    t, v = _course(times, values)
    tail = v[t >= t[-1] - SETTLED * (t[-1] - t[0])]
    if tail.size < 3:
        raise ValueError("the end of this record has too few points to tell a level")
    return Found(float(tail.mean()), float(np.std(tail, ddof=1)), float(tail.size - 1))


def overshoot(times: Sequence[float], values: Sequence[float]) -> Found:
    """How far the quantity goes beyond its plateau before it settles, or 0. Raises as :func:`plateau`."""
    t, v = _course(times, values)
    level = plateau(times, values)
    before = v[t < t[-1] - SETTLED * (t[-1] - t[0])]
    return Found(max(0.0, float(before.max()) - level.value), level.u, level.dof)


# The leak test of EN 285, clause 18: wait, then watch for ten minutes (both cited from memory).
WAIT, WATCH = 300.0, 600.0  # s
CONDENSATE = 2e3  # Pa: a larger rise during the wait is water that boils, not air that leaks


def leak_rate(times: Sequence[float], values: Sequence[float]) -> Found:
    """Rise of pressure in a closed vessel, per s, over ten minutes after a wait of five: the mean rate, last less first
    by the straight line through all points. Values in Pa.

    ``remark`` says so where the rise during the wait suggests condensate. Raises ValueError for a record shorter than
    fifteen minutes.
    """
    t, v = _course(times, values)
    if t[-1] - t[0] < WAIT + WATCH - 1.0:
        raise ValueError(
            f"a leak rate needs a record of {(WAIT + WATCH) / 60:g} min, this one has {(t[-1] - t[0]) / 60:.3g}"
        )
    watched = t >= t[-1] - WATCH
    slope, u, _ = line_through(t[watched], v[watched])
    waited = v[~watched]
    rise = float(waited[-1] - waited[0])
    remark = (
        f"the pressure rose by {rise / 1e3:.2g} kPa during the wait: condensate suspected" if rise > CONDENSATE else ""
    )
    return Found(slope, u, float(np.count_nonzero(watched) - 2), remark)
