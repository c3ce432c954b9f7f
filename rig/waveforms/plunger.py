"""Did the plunger move? Answered from the depth of the dip and from the inductance, with a stated false-alarm rate.

On DC a plunger that closes the iron makes the current dip, and the inductance is larger afterwards; both are asked, and
they must agree. On AC the current departs from every course that a constant inductance can give; behind a bridge the
inductance alone decides.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from rig.distributions import normal_quantile
from rig.waveforms.alternating import PERIODS, departure, rms
from rig.waveforms.coil import FALSE_ALARM, Rise, dip_by_noise, noise, rise, time_constants

GREW = 1.6  # inductance, late over early: closing the iron doubles it about (2.1 and up on simulated coils); a plunger
# that stands leaves it, and a bridge whose zeros are not known to better than half a sample feigns up to 1.3
DEPARTS = 0.05  # of the holding current; simulated coils that stand depart by 1.3 % at most, others by 13 % and more
DEEP = 0.02  # of the end value: a dip is not only above the noise but worth the name


@dataclass(frozen=True)
class Moved:
    """The answer: None where the signs contradict each other, or there is no current.

    ``false_alarm`` is how often noise alone makes a plunger that stands pass for one that moved; ``why`` says what was
    seen."""

    moved: bool | None
    false_alarm: float
    why: str


def on_dc(values: Sequence[float], interval: float, false_alarm: float = FALSE_ALARM) -> Moved:
    """From a record (A) of a coil switched on to a steady supply, ``interval`` in s. Raises as :func:`coil.rise`."""
    seen = rise(values, interval)
    sigma = noise(values)
    if seen.onset >= len(values) - 1:
        return Moved(None, false_alarm, "no current")
    least = max(dip_by_noise(len(values), sigma, false_alarm), DEEP * seen.holding)
    dipped = seen.dip > least
    depth = f"dip {seen.dip * 1e3:.3g} mA, noise and shape make {least * 1e3:.3g} mA at most"
    growth = seen.growth
    if growth is None:
        return Moved(dipped or None, false_alarm, f"{depth}; the rise is too short to tell the inductance")
    z = -normal_quantile(false_alarm)
    grew = growth[0] > max(GREW, 1.0 + z * growth[1])
    why = f"{depth}; inductance late over early {growth[0]:.2f} ± {2 * growth[1]:.2g}"
    return Moved(dipped if dipped is grew else None, false_alarm, why)


def on_rectified(values: Sequence[float], interval: float, period: float, false_alarm: float = FALSE_ALARM) -> Moved:
    """From a record (A) of the alternating lead of a coil with a full bridge inside, ``interval`` and mains ``period``
    in s. Raises ValueError for a record that is shorter than two periods after the switching, or not finite.

    The current of the winding is that of the lead without its sign; its supply is a rectified sine, whose zeros are
    where the lead changes sign and whose mean is that of the current in the end. Ripple makes dips of its own, so the
    inductance alone decides.
    """
    lead = np.asarray(values, dtype=np.float64)
    window = round(period / interval)
    if not np.all(np.isfinite(lead)) or lead.size < 3 * window:
        raise ValueError("expected finite values of three periods of the mains or more")
    winding, sigma = np.abs(lead), noise_of_periods(values, window)
    holding = float(winding[-window:].mean())
    if holding < 6.0 * sigma or holding == 0.0:
        return Moved(None, false_alarm, "no current")
    driven = _rectified(lead, holding, window)
    onset = int(np.argmax(winding > max(6.0 * sigma, 0.02 * holding)))
    early, late = time_constants(winding, driven, holding, onset, sigma, interval)
    growth = Rise(holding, holding, 0.0, onset, early, late).growth
    if growth is None:
        return Moved(None, false_alarm, "the rise is too short to tell the inductance")
    least = max(GREW, 1.0 - normal_quantile(false_alarm) * growth[1])
    why = f"inductance late over early {growth[0]:.2f} ± {2 * growth[1]:.2g}, standing it is {least:.3g} at most"
    return Moved(growth[0] > least, false_alarm, why)


DIODES = 0.04  # of the peak: 1.4 V of two diodes in a supply of 24 V (textbook)


def _rectified(lead: NDArray[np.float64], holding: float, window: int) -> NDArray[np.float64]:
    """V/R of a rectified sine whose zeros are the sign changes of the lead's last period and whose mean is given."""
    tail = lead[-2 * window :]
    crossings = np.nonzero(np.signbit(tail[1:]) != np.signbit(tail[:-1]))[0]
    zero = lead.size - tail.size + (float(crossings[-1]) + 0.5 if crossings.size else 0.0)
    angle = 2.0 * math.pi * (np.arange(lead.size) - zero) / window
    peak = holding / (2.0 / math.pi - DIODES)
    return np.asarray(peak * (np.abs(np.sin(angle)) - DIODES))


def on_ac(values: Sequence[float], interval: float, period: float, false_alarm: float = FALSE_ALARM) -> Moved:
    """From a record (A) of a coil switched on to AC, ``interval`` and mains ``period`` in s.

    Raises ValueError for a record that is shorter than three periods, or not finite.
    """
    found = np.asarray(values, dtype=np.float64)
    if not np.all(np.isfinite(found)):
        raise ValueError("a coil's record needs finite values")
    window = round(period / interval)
    sigma = noise_of_periods(found, window)
    holding = rms(found[-window:])
    if holding < 6.0 * sigma or holding == 0.0:
        return Moved(None, false_alarm, "no current")
    seen = departure(found, window)
    least = DEPARTS + noise_departs(PERIODS * window, sigma, false_alarm) / holding
    why = (
        f"departs by {100 * seen:.2g} % of the holding current from a coil that stands; that makes {100 * least:.2g} %"
    )
    return Moved(seen > least, false_alarm, f"{why} at most")


def noise_departs(count: int, sigma: float, false_alarm: float) -> float:
    """The rms of ``count`` values of noise that is exceeded less often than ``false_alarm``: chi squared, by the
    approximation of Wilson and Hilferty (1931)."""
    part = 2.0 / (9.0 * count)
    return sigma * math.sqrt(max(0.0, 1.0 - part - normal_quantile(false_alarm) * math.sqrt(part)) ** 3)


def noise_of_periods(values: Sequence[float] | NDArray[np.float64], window: int) -> float:
    """Standard deviation of the noise of a periodic record: its last period against the one before, over the square
    root of two; of its neighbours where there is only one."""
    found = np.asarray(values, dtype=np.float64)
    if found.size < 2 * window:
        return noise(found)
    return float(np.std(found[-window:] - found[-2 * window : -window]) / math.sqrt(2.0))
