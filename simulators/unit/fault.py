"""What a fault is: a change of a physical amount, from which every reading follows.

A fault's `apply` works its extent (above 0, up to 1) into the `Defects`; how the severity that people give becomes an
extent is measured, unit by unit (halves.py). One that comes as a state rather than as a part (a low reservoir) also
has `arrive`, called when it is set and, with 0, when it is taken out.
To add a fault: an amount in defects.py if it needs a new one, and an entry in one of the tables, faults_*.py.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from math import inf, log
from typing import TYPE_CHECKING

from simulators.unit.defects import Defects
from simulators.unit.halves import half_of

if TYPE_CHECKING:
    from simulators.unit.unit import Unit


@dataclass(frozen=True)
class Fault:
    """`noticed` is what a technician notices; `site` faults stay at the owner's; `units` can have it."""

    name: str
    line: str
    noticed: str
    site: bool
    units: frozenset[str]
    apply: Callable[[Defects, float], None]
    arrive: Callable[[Unit, float], None] | None = None

    def extent(self, severity: float, unit: str) -> float:
        """How far the amount of this fault goes, 0 to 1, so that at severity 0.5 half of these units complain."""
        return 0.0 if severity <= 0.0 else float(severity ** (log(half_of(self.name, unit)) / log(0.5)))


def growing(severity: float, half: float) -> float:
    """A joint that parts, in ohm: none at 0, `half` at severity 0.5, open at 1: half * (s / (1 - s))^3."""
    return inf if severity >= 1.0 else half * (severity / (1.0 - severity)) ** 3


def closing(severity: float, wide: float, narrow: float, power: float) -> float:
    """An opening that closes from `wide` at 0 to `narrow` at 1: narrow + (wide - narrow) * (1 - s)^power."""
    return narrow + (wide - narrow) * float((1.0 - severity) ** power)


def leak(severity: float, widest: float = 1e-3) -> float:
    """Diameter in m of a leak: 0.08 of the widest at 0.5, where a leak test just notices, and `widest` at 1."""
    return widest * float(severity**3.7)
