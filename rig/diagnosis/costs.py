"""What an observation costs: minutes, what must be opened or run first, and risk."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

from rig.diagnosis.unit_table import UnitTable
from rig.plan.causes import Observation, Safety

_PUT: dict[Safety, str] = {
    "ordinary care": "ordinary care",
    "cold and open": "the chamber below 40 Cel, without pressure, door open",
    "dead": "plug out and locked away, test points proved below 1 V",
    "bench feeds": "mains off and covered, the heater cut off; the bench feeds no more than 30 V",
    "board drives": "mains is live: a technician with authority, somebody within call, earth-leakage breaker and"
    " emergency stop tested today, heater cut off, lid shut",
}


@dataclass(frozen=True)
class Cost:
    """``hands_on`` and ``waiting`` in minutes, set-ups that are not paid yet included; ``risk`` as minutes, too."""

    hands_on: float
    waiting: float
    risk: float
    set_ups: tuple[str, ...]
    covers: bool

    @property
    def minutes(self) -> float:
        return self.hands_on + self.waiting

    @property
    def total(self) -> float:
        """What the information is divided by; never nothing."""
        return max(0.1, self.minutes + self.risk)


def cost(table: UnitTable, name: str, paid: Collection[str]) -> Cost:
    """The cost of one observation when some set-ups are paid: a shared run, or an opened cover."""
    seen = table.observations[name]
    wanted = tuple(s for s in seen.set_ups if s not in paid)
    set_ups = [table.table.set_ups[s] for s in wanted]
    return Cost(
        seen.hands_on + sum(s.hands_on for s in set_ups),
        seen.waiting + sum(s.waiting for s in set_ups),
        table.table.risk_minutes.get(seen.safety, 0.0),
        wanted,
        any(s.cover for s in set_ups),
    )


def live(seen: Observation) -> bool:
    """Whether mains is on with covers off."""
    return seen.safety == "board drives"


def needs(table: UnitTable, name: str, paid: Collection[str]) -> tuple[str, ...]:
    """What must be so first: safety before set-up."""
    seen = table.observations[name]
    found = [] if seen.safety == "ordinary care" else [_PUT[seen.safety]]
    for word in seen.set_ups:
        if word not in paid:
            set_up = table.table.set_ups[word]
            found.append(set_up.title + (f". {set_up.caution}" if set_up.caution else ""))
    return tuple(found)
