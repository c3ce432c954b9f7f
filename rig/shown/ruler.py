"""A small ruler: where a reading lies in what is allowed, with the rule's guard band on both sides of an end.

The scale is stretched where it must be, so that the picture never contradicts the verdict: the mark stands
inside the ends exactly when the value does, and in a guard band exactly when the verdict is conditional.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import Enum

from rig.distributions import coverage_factor
from rig.limits import Limit, Verdict, judge

CELLS = 21
_OUTSIDE = 4  # cells beyond each end where both ends are limited
_SHORT = 7  # cells beyond the end where there is one; as many show nothing to the limit for an at-least


class Zone(Enum):
    """What a cell of the ruler stands for."""

    OUT = "out"
    OUT_GUARD = "out, guard band"
    END = "end"
    IN_GUARD = "in, guard band"
    IN = "in"


@dataclass(frozen=True)
class Ruler:
    """One zone a cell, and the cell of the mark; ``off`` is -1 or 1 when the value lies beyond the ruler."""

    zones: tuple[Zone, ...]
    mark: int
    off: int


@dataclass(frozen=True)
class _Part:
    """Some neighbouring cells of one zone, and the values at their two sides."""

    zone: Zone
    cells: int
    low: float
    high: float


def ruler(value: float, u: float, limit: Limit, dof: float | None = None) -> Ruler:
    """The ruler of a reading, ``value`` and ``u`` in the limit's unit. Raises ValueError if not finite.

    Where the rule knows two verdicts its ends are those of acceptance: there is nothing conditional to show.
    """
    if limit.rule.verdicts == 2:
        limit = limit.acceptance(u, dof)
    verdict = judge(value, u, limit, dof).verdict
    guard = limit.rule.guard * coverage_factor(dof) * u
    if limit.at_least is not None and limit.at_most is not None:
        parts = _between(value, guard, limit.at_least, limit.at_most, verdict)
    elif limit.at_least is not None:
        parts = _above(guard, limit.at_least, verdict, _span(value, limit.at_least, guard))
    else:
        assert limit.at_most is not None
        # the same picture from the other side
        mirrored = _above(guard, -limit.at_most, verdict, _span(value, limit.at_most, guard))
        parts = [_Part(p.zone, p.cells, -p.high, -p.low) for p in reversed(mirrored)]
    return _placed(parts, value, _wanted(verdict), _nearer_low(value, limit))


def _wanted(verdict: Verdict) -> Zone:
    zones = {
        Verdict.PASS: Zone.IN,
        Verdict.CONDITIONAL_PASS: Zone.IN_GUARD,
        Verdict.CONDITIONAL_FAIL: Zone.OUT_GUARD,
        Verdict.FAIL: Zone.OUT,
    }
    return zones[verdict]


def _nearer_low(value: float, limit: Limit) -> bool:
    """Whether it is the lower end that decides."""
    if limit.at_least is None or limit.at_most is None:
        return limit.at_most is None
    return value - limit.at_least <= limit.at_most - value


def _span(value: float, end: float, guard: float) -> float:
    """How much of the quantity the inside of a one-sided ruler shows: as much as the end is from nothing."""
    if end > 0:
        return end
    return max(abs(end), 10 * guard) or abs(value) or 1.0


def _guard_cells(guard: float, per_cell: float, most: int, needed: bool) -> int:
    """Cells of a guard band: to scale, but at least one when the mark is in it."""
    share = guard / per_cell if per_cell > 0 else math.inf
    return max(int(needed), min(most, round(share) if share < most else most))


def _between(value: float, guard: float, low: float, high: float, verdict: Verdict) -> list[_Part]:
    inside = CELLS - 2 * _OUTSIDE - 2
    per_cell = (high - low) / inside
    outer = _guard_cells(guard, per_cell, _OUTSIDE - 1, verdict is Verdict.CONDITIONAL_FAIL)
    beyond = (_OUTSIDE - outer) * per_cell
    left = [
        _Part(Zone.OUT, _OUTSIDE - outer, low - guard - beyond, low - guard),
        _Part(Zone.OUT_GUARD, outer, low - guard, low),
        _Part(Zone.END, 1, low, low),
    ]
    right = [
        _Part(Zone.END, 1, high, high),
        _Part(Zone.OUT_GUARD, outer, high, high + guard),
        _Part(Zone.OUT, _OUTSIDE - outer, high + guard, high + guard + beyond),
    ]
    if 2 * guard > high - low and verdict is not Verdict.PASS:
        middle = (low + high) / 2
        return [
            *left,
            _Part(Zone.IN_GUARD, inside // 2 + 1, low, middle),
            _Part(Zone.IN_GUARD, inside // 2, middle, high),
            *right,
        ]
    inner = _guard_cells(guard, per_cell, inside // 2, verdict is Verdict.CONDITIONAL_PASS)
    return [
        *left,
        _Part(Zone.IN_GUARD, inner, low, low + guard),
        _Part(Zone.IN, inside - 2 * inner, low + guard, high - guard),
        _Part(Zone.IN_GUARD, inner, high - guard, high),
        *right,
    ]


def _above(guard: float, end: float, verdict: Verdict, span: float) -> list[_Part]:
    """The parts for an at-least."""
    inside = CELLS - _SHORT - 1
    per_cell = span / inside
    outer = _guard_cells(guard, span / _SHORT, _SHORT - 1, verdict is Verdict.CONDITIONAL_FAIL)
    inner = _guard_cells(guard, per_cell, inside - 1, verdict is Verdict.CONDITIONAL_PASS)
    return [
        _Part(Zone.OUT, _SHORT - outer, min(end - span, end - guard - span / _SHORT), end - guard),
        _Part(Zone.OUT_GUARD, outer, end - guard, end),
        _Part(Zone.END, 1, end, end),
        _Part(Zone.IN_GUARD, inner, end, end + guard),
        _Part(Zone.IN, inside - inner, end + guard, max(end + span, end + guard + per_cell)),
    ]


def _placed(parts: list[_Part], value: float, wanted: Zone, low_side: bool) -> Ruler:
    zones = tuple(p.zone for p in parts for _ in range(p.cells))
    starts = [sum(p.cells for p in parts[:n]) for n in range(len(parts))]
    fitting = [(p, s) for p, s in zip(parts, starts, strict=True) if p.zone is wanted and p.cells]
    part, start = fitting[0] if low_side else fitting[-1]
    width = part.high - part.low
    share = (value - part.low) / width if width > 0 else 0.5
    share = share if math.isfinite(share) else 0.5
    mark = start + min(part.cells - 1, max(0, int(share * part.cells)))
    at_left, at_right = mark == 0 and share < 0, mark == CELLS - 1 and share > 1
    return Ruler(zones, mark, -1 if at_left else 1 if at_right else 0)
