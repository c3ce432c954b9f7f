"""Dimensions of formulas: put together, and said for people."""

from __future__ import annotations

from rig.quantities import NONE, UNITS, Dimension


def combined(a: Dimension, b: Dimension, times: int) -> Dimension:
    """The dimension of a product with the ``times``-th power of a second factor."""
    kg, m, s, ampere, k = (x + times * y for x, y in zip(a, b, strict=True))
    return (kg, m, s, ampere, k)


def shown(dimension: Dimension) -> str:
    """A dimension for a person: the quantities that have it, or its exponents."""
    if dimension == NONE:
        return "a number"
    names = dict.fromkeys(u.quantity for u in UNITS if u.dimension == dimension)
    if names:
        return "a " + " or ".join(names)
    parts = [f"{u}{e if e != 1 else ''}" for u, e in zip(("kg", "m", "s", "A", "K"), dimension, strict=True) if e]
    return "something in " + ".".join(parts)
