"""A table of causes as it is for one unit: without what that unit cannot have."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from rig.plan.causes import Cause, CauseTable, Mark, Observation, Row
from rig.plan.for_units import fits
from rig.plan.profile import UnitProfile

NONE_OF_THESE = "none-of-these"
Place = str  # "field": an owner's call; "bench": the unit is here


@dataclass(frozen=True)
class UnitTable:
    """The causes and observations of one unit, in the order of the file."""

    table: CauseTable
    unit: str
    place: Place
    causes: Mapping[str, Cause]
    observations: Mapping[str, Observation]
    remedies: Mapping[str, str]  # by cause

    @property
    def complaint(self) -> str:
        return self.table.complaint

    def start(self) -> dict[str, float]:
        """The chance of every cause, and of none of these, before anything is known; they add up to 1."""
        weights = {name: cause.start.at(self.place) for name, cause in self.causes.items()}
        none = self.table.none_of_these.at(self.place)
        rest = 1.0 - none
        total = sum(weights.values())
        return {**{n: w * rest / total for n, w in weights.items()}, NONE_OF_THESE: none}

    def two_causes(self) -> float:
        """The share of units with two causes at once."""
        return self.table.two_causes.at(self.place)

    def row(self, observation: str, cause: str) -> tuple[Row, Mark]:
        """How an observation comes out under a cause, and what kind of number that is."""
        seen = self.observations[observation]
        row = seen.given.get(cause) or seen.otherwise or seen.healthy
        return row, row.numbers or seen.numbers or self.table.numbers

    def title(self, cause: str) -> str:
        """A cause in words."""
        return "something that this table does not know" if cause == NONE_OF_THESE else self.causes[cause].title


def for_unit(table: CauseTable, profile: UnitProfile | None, place: Place) -> UnitTable:
    """The table for a unit of that profile. Without one, only what is for every unit is left out of account."""
    causes = {n: c for n, c in table.causes.items() if profile is None or fits(c.for_units, profile)}
    seen = {
        n: _given(o, profile) for n, o in table.observations.items() if profile is None or fits(o.for_units, profile)
    }
    remedies = {
        name: next((v.remedy for v in cause.variants if fits(v.for_units, profile)), cause.remedy)
        for name, cause in causes.items()
    }
    unit = "" if profile is None else profile.unit_profile
    return UnitTable(table, unit, place, causes, seen, remedies)


def _given(seen: Observation, profile: UnitProfile | None) -> Observation:
    variant = next((v for v in seen.variants if fits(v.for_units, profile)), None)
    return seen if variant is None else seen.model_copy(update={"given": variant.given})
