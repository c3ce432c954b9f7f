"""Standard uncertainty: how the parts are found and added (GUM, JCGM 100:2008)."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace


def rectangular(half_width: float) -> float:
    """Standard uncertainty of a value known only to lie within ±``half_width`` (GUM 4.3.7)."""
    return abs(half_width) / math.sqrt(3.0)


def resolution(step: float) -> float:
    """Standard uncertainty from a display or converter that counts in ``step`` (GUM F.2.2.1)."""
    return abs(step) / math.sqrt(12.0)


def type_a(values: Sequence[float]) -> float:
    """Experimental standard deviation of the mean of repeated readings (GUM 4.2.3); 0 for fewer than two."""
    n = len(values)
    if n < 2:
        return 0.0
    mean = math.fsum(values) / n
    return math.sqrt(math.fsum((v - mean) ** 2 for v in values) / (n - 1) / n)


def combine(parts: Sequence[float]) -> float:
    """Combined standard uncertainty of uncorrelated parts (GUM 5.1.2, sensitivities already applied)."""
    return math.sqrt(math.fsum(p * p for p in parts))


@dataclass(frozen=True)
class Line:
    """One line of an uncertainty budget.

    ``u`` is the standard uncertainty of the input in the input's own unit, ``sensitivity`` what the result changes by
    for one unit of it; their product is the line's share of the result. ``dof`` are its degrees of freedom, None for
    infinitely many. ``basis`` says for people where ``u`` comes from.

    Lines of one ``origin`` are one and the same error met again (the same instrument used twice, the same reading in
    two formulas): their shares add with their signs (GUM F.1.2.3). Different origins of one ``statement`` are parts of
    one limit of error (share of reading, share of range, counts), of which only the sum is stated: their shares add
    without sign. Everything else adds by squares. A line without an origin stands alone.
    """

    name: str
    u: float
    basis: str = ""
    distribution: str = "rectangular"  # rectangular, normal, t
    dof: float | None = None
    sensitivity: float = 1.0
    origin: str = ""
    statement: str = ""

    @property
    def share(self) -> float:
        """The signed contribution to the result."""
        return self.u * self.sensitivity

    def scaled(self, factor: float) -> Line:
        """The same error as it shows in a result that moves by ``factor`` times as much."""
        return replace(self, sensitivity=self.sensitivity * factor)


def line(name: str, half_width: float, basis: str = "", origin: str = "", statement: str = "") -> Line:
    """A line for an error that is only known to lie within ±``half_width`` (GUM 4.3.7)."""
    return Line(name, rectangular(half_width), basis, origin=origin, statement=statement)


def scatter(values: Sequence[float], name: str = "scatter") -> Line:
    """The line of repeated readings: type A, n - 1 degrees of freedom (GUM 4.2). Needs two values or more."""
    n = len(values)
    return Line(name, type_a(values), f"standard deviation of the mean of {n} readings", "t", float(n - 1))


def total(lines: Iterable[Line]) -> tuple[float, float | None]:
    """Combined standard uncertainty and effective degrees of freedom (None: infinitely many) of a budget.

    By GUM 5.1.2 and 5.2.2 with the rule of :class:`Line` for what is correlated, and the formula of Welch and
    Satterthwaite (GUM G.4.1) over what is not.
    """
    shares: dict[tuple[str, str], float] = {}
    dofs: dict[tuple[str, str], float | None] = {}
    for n, each in enumerate(lines):
        key = (each.statement, each.origin or f"{n}")
        shares[key] = shares.get(key, 0.0) + each.share
        dofs[key] = _least(dofs[key], each.dof) if key in dofs else each.dof
    groups: dict[tuple[str, str], float] = {}
    freedom: dict[tuple[str, str], float | None] = {}
    for (statement, origin), share in shares.items():
        group = (statement, "") if statement else ("", origin)
        groups[group] = groups.get(group, 0.0) + abs(share)
        dof = dofs[statement, origin]
        freedom[group] = _least(freedom[group], dof) if group in freedom else dof
    u = combine(list(groups.values()))
    return u, welch_satterthwaite([(part, freedom[group]) for group, part in groups.items()])


def _least(a: float | None, b: float | None) -> float | None:
    return b if a is None else a if b is None else min(a, b)


def welch_satterthwaite(parts: Iterable[tuple[float, float | None]]) -> float | None:
    """Effective degrees of freedom of independent shares with theirs (GUM G.4.1); None for infinitely many."""
    pairs = list(parts)
    largest = max((u for u, _ in pairs), default=0.0) or 1.0  # only shares of it count, and their powers fit a float
    below = math.fsum((u / largest) ** 4 / dof for u, dof in pairs if dof is not None)
    above = math.fsum((u / largest) ** 2 for u, _ in pairs) ** 2
    return above / below if below > 0.0 else None


def shown(value: float, expanded: float, unit: str) -> str:
    """A reading for a person: uncertainty to two significant digits (GUM 7.2.6), the value to match.

    >>> shown(82.4123, 0.104, "s")
    '82.41 s ± 0.10 s'
    """
    if expanded <= 0 or not math.isfinite(expanded):
        return f"{value:.6g} {unit}"
    digits = 1 - math.floor(math.log10(expanded))
    rounded = round(expanded, digits)
    if rounded > 0:  # 0.0996 becomes 0.10, which has one digit less to show
        digits = 1 - math.floor(math.log10(rounded))
    places = max(digits, 0)
    return f"{round(value, digits):.{places}f} {unit} ± {rounded:.{places}f} {unit}"
