"""How far the current of a coil on AC departs from that of one whose plunger does not move.

With the plunger at rest, seated or stuck, a coil is a resistance and an inductance: after switching, its current is a
sine and an exponential, whatever the moment (the solution of L di/dt + R i = V sin(wt + p)). The best such curve is
taken off the first periods; a plunger that moves changes the inductance, and no such curve follows that.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

PERIODS = 3  # of the mains, in which an AC plunger has moved or is stuck (common practice: one to three half waves)
BEGINS = 0.05  # of the holding current: where a record begins
DECAYS = tuple(0.05 * 60.0 ** (n / 19) for n in range(20))  # mains periods in which the exponential dies away


def rms(values: Sequence[float] | Array) -> float:
    """Root mean square about the mean."""
    return float(np.std(np.asarray(values, dtype=np.float64)))


def departure(values: Sequence[float] | Array, window: int) -> float:
    """Rms of what the best sine with an exponential leaves of the first three periods, as a part of the rms of the
    last period; 0 where there is no current.

    ``window`` is the number of values in a mains period. Raises ValueError for a record shorter than three periods.
    """
    found = np.asarray(values, dtype=np.float64)
    if window < 5 or found.size < PERIODS * window:
        raise ValueError(f"expected a record of {PERIODS} periods or more, found {found.size} values of {window} each")
    holding = float(np.sqrt(np.mean(found[-window:] ** 2)))
    if holding == 0.0:
        return 0.0
    begins = int(np.argmax(np.abs(found) > BEGINS * holding))
    course = found[begins : begins + PERIODS * window]
    n = np.arange(course.size, dtype=np.float64)
    turn = 2.0 * math.pi * n / window
    periodic = np.stack([np.ones_like(n), np.sin(turn), np.cos(turn)], axis=1)
    base, _ = np.linalg.qr(periodic)
    rest = course - base @ (base.T @ course)
    left = min(_without(rest, base, np.exp(-n / window / decay)) for decay in DECAYS)
    return math.sqrt(left / course.size) / holding


def _without(rest: Array, base: Array, curve: Array) -> float:
    """Sum of squares of what is left when a curve is taken off as well, made square to the base first."""
    square = curve - base @ (base.T @ curve)
    size = float(square @ square)
    share = float(rest @ square)
    return max(0.0, float(rest @ rest) - (share * share / size if size > 1e-12 else 0.0))
