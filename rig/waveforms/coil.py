"""What the current of a coil tells after it was switched on to DC: rise, dip, inductance before and after.

Everything is in A and s; records are arrays of equally spaced values, the first ones from before the switching. With a
steady supply V = R i + d(L i)/dt; the current settles to V/R, so that over any stretch the integral of (end - i) is
(L i)/R at its end less that at its beginning. That gives L/R without a derivative, and without knowing V or R.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from rig.distributions import normal_quantile

Array = NDArray[np.float64]

SMOOTH = 5  # values of the running median: a single wild sample leaves no trace, an edge stays where it is
MEDIAN_SPREAD = 0.54  # standard deviation of a median of five normal values, in theirs (0.5357; by order statistics)
EARLY = (0.15, 0.5)  # of the end value: no plunger of a coil that pulls in at all has moved below half of it
FEWEST = 4  # points of the early rise from which its time constant is taken
FALSE_ALARM = 1e-4  # how often a plunger that stands may be said to have moved, by noise


def noise(values: Sequence[float] | Array) -> float:
    """Standard deviation of the noise of a record: of its end's second differences over the square root of six, which
    leaves slopes and slow alternation out (common practice, no source)."""
    end = np.asarray(values, dtype=np.float64)[-200:]
    second = np.diff(end, n=2)
    return float(math.sqrt(np.mean(second**2) / 6.0)) if second.size else 0.0


def smoothed(values: Sequence[float] | Array, width: int = SMOOTH) -> Array:
    """Running median of ``width`` (odd) neighbouring values, its ends repeated."""
    padded = np.pad(np.asarray(values, dtype=np.float64), width // 2, mode="edge")
    return np.asarray(np.median(np.lib.stride_tricks.sliding_window_view(padded, width), axis=1))


def dip(values: Sequence[float] | Array) -> float:
    """The deepest fall that the record climbs out of again, in the unit of ``values``; 0 for a record without one.

    Switching off is no dip. A plunger that closes the iron induces a voltage against the current and makes one; a
    plunger that stands does not.
    """
    if len(values) == 0:
        return 0.0
    smooth = smoothed(values)
    before = np.maximum.accumulate(smooth)
    later = np.maximum.accumulate(smooth[::-1])[::-1]
    return float(max(0.0, np.max(np.minimum(before, later) - smooth)))


def dip_by_noise(count: int, sigma: float, false_alarm: float = FALSE_ALARM) -> float:
    """The dip that noise alone exceeds less often than ``false_alarm`` in a record of ``count`` values that only rises.

    Such a dip needs a smoothed value half as far off, to one side or the other: the union bound over all of them.
    """
    z = -normal_quantile(false_alarm / (2.0 * max(1, count)))
    return 2.0 * MEDIAN_SPREAD * sigma * z


@dataclass(frozen=True)
class Rise:
    """A coil's current after switching on: ``holding`` is the end value, ``peak`` the value before the dip (the end
    value without one), ``dip`` its depth; ``early`` and ``late`` are L/R in s before the plunger could move and in the
    end, each with its standard uncertainty from noise. None for what the record does not show."""

    holding: float
    peak: float
    dip: float
    onset: int
    early: tuple[float, float] | None
    late: tuple[float, float] | None

    @property
    def growth(self) -> tuple[float, float] | None:
        """By how much the inductance grew, late over early, and its standard uncertainty; None where not both are."""
        if self.early is None or self.late is None or self.early[0] <= 0:
            return None
        ratio = self.late[0] / self.early[0]
        return ratio, ratio * math.hypot(self.early[1] / self.early[0], self.late[1] / max(self.late[0], 1e-12))


def rise(values: Sequence[float] | Array, interval: float) -> Rise:
    """The features of a record of a coil that is switched on to a steady supply and stays on.

    Raises ValueError for a record of fewer than 20 values, or one that is not finite.
    """
    found = np.asarray(values, dtype=np.float64)
    if found.size < 20 or not np.all(np.isfinite(found)):
        raise ValueError("a coil's record needs at least 20 finite values")
    sigma = noise(found)
    tail = found[-max(10, found.size // 10) :]
    holding = float(np.mean(tail))
    smooth = smoothed(found)
    depth = dip(found)
    top = np.maximum.accumulate(smooth)
    low = int(np.argmax(np.minimum(top, np.maximum.accumulate(smooth[::-1])[::-1]) - smooth))
    peak = float(top[low]) if depth > dip_by_noise(found.size, sigma) else holding
    onset = int(np.argmax(smooth > max(6.0 * sigma, 0.02 * holding))) if holding > 6.0 * sigma else found.size
    early, late = time_constants(found, np.full(found.size, holding), holding, onset, sigma, interval)
    return Rise(holding, peak, depth, onset, early, late)


Known = tuple[float, float]  # a value and its standard uncertainty


def time_constants(
    values: Array, driven: Array, holding: float, onset: int, sigma: float, interval: float
) -> tuple[Known | None, Known | None]:
    """L/R in s, early and in the end, of a record that settles to a mean of ``holding`` A.

    ``driven`` is V/R at each value: what the current would be without inductance. Early is the slope of the integral of
    (driven - values) over the values, between two shares of the end value; the rest of the integral is what the flux
    grew by until the end. None for what the record does not show.
    """
    if onset >= values.size - FEWEST:
        return None, None
    reached = np.nonzero(values[onset:] >= EARLY[1] * holding)[0]
    last = onset + (int(reached[0]) if reached.size else 0)
    begin = onset + int(np.argmax(values[onset:] >= EARLY[0] * holding))
    if last - begin < FEWEST:
        return None, None
    missing = driven - values
    area = np.concatenate(([0.0], np.cumsum((missing[1:] + missing[:-1]) * 0.5 * interval)))
    x, y = values[begin : last + 1], area[begin : last + 1]
    off = x - x.mean()
    spread = float(np.sum(off**2))
    slope = float(np.sum(off * (y - y.mean())) / spread)
    u_early = slope * sigma / math.sqrt(spread)
    end = values.size - 1
    flux = slope * float(values[last]) + float(area[end] - area[last])
    tail = max(10, values.size // 10)
    # the noise of the end value counts over the whole stretch
    u_flux = math.hypot(u_early * float(values[last]), sigma / math.sqrt(tail) * (end - last) * interval)
    return (slope, u_early), (flux / float(values[end]), u_flux / holding)
