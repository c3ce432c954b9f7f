"""What a record of a contact tells: when it first closed, and how long it chattered before it stayed.

Times are in s and rising; a contact is closed where its value is above 0.5. A change lies between two points of the
record, and that is its uncertainty (GUM 4.3.7)."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from rig.waveforms.curves import FEWEST, Array, Found

ROOT3 = 3.0**0.5


def changes(times: Sequence[float], values: Sequence[float]) -> Array:
    """Each change as a row: the time of the last point before it and of the first one after. Raises ValueError for
    fewer than eight points, times that do not rise, or values that are no numbers."""
    t, v = np.asarray(times, dtype=np.float64), np.asarray(values, dtype=np.float64)
    if t.size != v.size or t.size < FEWEST or not (np.all(np.isfinite(t)) and np.all(np.isfinite(v))):
        raise ValueError(f"expected a record of {FEWEST} finite points or more, found {t.size}")
    if np.any(np.diff(t) <= 0):
        raise ValueError("the times of a record must rise")
    at = np.flatnonzero(np.diff((v > 0.5).astype(np.int8)))
    return np.column_stack((t[at], t[at + 1]))


def first_contact(times: Sequence[float], values: Sequence[float], slack: float = 0.0) -> Found:
    """When it first closed, in s from the first point; ``slack`` is what the time of a point may be off by. Raises
    ValueError as :func:`changes`, and where it was closed from the beginning or never closed."""
    found = _closing(times, values)
    half = float(found[0, 1] - found[0, 0]) / 2.0 + slack
    return Found(float(found[0].mean()) - times[0], half / ROOT3, float("inf"))


def chatter(times: Sequence[float], values: Sequence[float], slack: float = 0.0) -> Found:
    """From the first closing to the last change, in s: 0 for a contact that closed once and stayed. What comes and goes
    between two points is not seen, so that a chatter of 0 may be one of less than their distance. ``remark`` counts the
    changes. Raises as :func:`first_contact`."""
    found = _closing(times, values)
    halves = (found[:, 1] - found[:, 0]) / 2.0 + slack
    first, last = float(found[0].mean()), float(found[-1].mean())
    more = len(found) - 1
    u = float(np.hypot(halves[0], halves[-1])) if more else 2.0 * float(halves[0])
    remark = f"{more} {'change' if more == 1 else 'changes'} or more after the first contact" if more else ""
    if values[-1] <= 0.5:
        remark += ", and it is open at the end of the record"
    return Found(last - first, u / ROOT3, float("inf"), remark)


def _closing(times: Sequence[float], values: Sequence[float]) -> Array:
    """The changes from the first closing on."""
    found = changes(times, values)
    if values[0] > 0.5:
        raise ValueError("the contact was closed when the record began")
    if not len(found):
        raise ValueError("the contact did not close in this record")
    return found
