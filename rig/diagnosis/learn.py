"""What simulation and shop know beside a table: Dirichlet counts over the table's own numbers.

A table's row weighs as many cases as the file says; simulated rows and confirmed repairs add theirs. The mean of a
Dirichlet distribution is (start * weight + counts) / (weight + number of counts): conjugate updating, A. Gelman et
al., Bayesian Data Analysis, 3.4. Old cases fade: a case counts half after ``HALF_LIFE`` days.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import datetime

import numpy as np

from rig.diagnosis.evidence import Evidence, known
from rig.diagnosis.model import Degrees, Vector
from rig.diagnosis.unit_table import NONE_OF_THESE, UnitTable
from rig.plan.causes import OUTCOMES, Outcome

HALF_LIFE = 730.0  # days, an estimate: parts and suppliers change within a few years
SIMULATED_COUNTS_AS = 40.0  # cases at most that simulated rows weigh, however many were run: they are one model's
AVERAGE_COUNTS_AS = 1.0  # cases that a cause's average weighs in each of its degrees


@dataclass(frozen=True)
class Case:
    """A confirmed repair: the complaint was gone after it. ``causes`` are what was found, ``seen`` what was observed
    before it. A case that was withdrawn does not count, and stays on record."""

    case: str
    when: datetime
    unit: str
    complaint: str
    causes: tuple[str, ...]
    seen: tuple[Evidence, ...]
    withdrawn: bool = False


@dataclass(frozen=True)
class Parts:
    """Where a number comes from: cases' weights of the table's start, of the simulation, and of the shop."""

    start: float
    simulation: float
    shop: float
    kind: str = "estimate"  # what the start is

    def as_dict(self) -> dict[str, float | str]:
        """Parts of one, and what kind of number the start is."""
        total = self.start + self.simulation + self.shop
        return {
            "start": self.start / total,
            "simulation": self.simulation / total,
            "shop": self.shop / total,
            "kind": self.kind,
        }


@dataclass(frozen=True)
class Simulated:
    """Simulated rows for one unit and complaint: by (observation, cause) the counts, (degrees, 5 outcomes)."""

    unit: str
    complaint: str
    counts: Mapping[tuple[str, str], Vector]
    degrees: int


@dataclass(frozen=True)
class Knowledge:
    """The cases of a shop and the simulated rows; ``now`` is the day at which cases are looked back from."""

    cases: tuple[Case, ...] = ()
    simulated: Simulated | None = None
    now: datetime | None = None
    half_life: float = HALF_LIFE
    _rows_of_shop: dict[tuple[str, str], Mapping[tuple[str, str], Vector]] = field(default_factory=dict, repr=False)

    def _mine(self, table: UnitTable) -> Iterable[tuple[Case, float]]:
        """The cases of this complaint and profile, each with what is left of its weight."""
        now = self.now or max((c.when for c in self.cases), default=None)
        for case in self.cases:
            if case.withdrawn or case.complaint != table.complaint or case.unit != table.unit or now is None:
                continue
            age = max(0.0, (now - case.when).total_seconds() / 86400.0)
            yield case, 0.5 ** (age / self.half_life)

    def found(self, table: UnitTable) -> dict[str, float]:
        """How often each cause was confirmed, faded; a case of two causes counts half for each."""
        counts = dict.fromkeys(table.start(), 0.0)
        for case, weight in self._mine(table):
            for cause in case.causes:
                name = cause if cause in counts else NONE_OF_THESE
                counts[name] += weight / len(case.causes)
        return counts

    def start(self, table: UnitTable) -> dict[str, float]:
        """The starting chances with the shop's own counts."""
        weight, counts = table.table.starts_count_as, self.found(table)
        total = weight + sum(counts.values())
        return {name: (weight * p + counts[name]) / total for name, p in table.start().items()}

    def parts(self, table: UnitTable) -> dict[str, Parts]:
        """By cause, where its starting chance comes from."""
        shop = sum(self.found(table).values())
        weight = table.table.starts_count_as
        return {
            name: Parts(weight, 0.0, shop, cause.start.numbers or table.table.numbers)
            for name, cause in table.causes.items()
        }

    def row_parts(self, table: UnitTable, observation: str, cause: str) -> Parts:
        """Where a row of the table comes from."""
        _, kind = table.row(observation, cause)
        shop = float(self._counts(table, observation, cause).sum())
        simulated = self._simulated(table, observation, cause)
        weight = 0.0 if simulated is None else min(SIMULATED_COUNTS_AS, float(simulated.sum()))
        return Parts(table.table.counts_as, weight, shop, kind)

    def degrees(self, table: UnitTable) -> Degrees:
        """The rows that differ from the table's: by (observation, cause), (degrees, outcomes)."""
        found: dict[tuple[str, str], Vector] = {}
        for observation in table.observations:
            for cause in table.causes:
                row = self._row(table, observation, cause)
                if row is not None:
                    found[observation, cause] = row
        return found

    def _row(self, table: UnitTable, observation: str, cause: str) -> Vector | None:
        simulated = self._simulated(table, observation, cause)
        counts = self._counts(table, observation, cause)
        if simulated is None and not counts.any():
            return None
        told = table.observations[observation].outcomes
        places = [OUTCOMES.index(o) for o in told]
        start, _ = table.row(observation, cause)
        row = np.array([[start.of(o) for o in told]])
        weight = table.table.counts_as
        if simulated is not None:
            parts = simulated[:, places] * min(1.0, SIMULATED_COUNTS_AS / max(1e-9, float(simulated.sum())))
            row = _by_degree(row, weight, parts)
            weight += float(parts.sum())
        shop = counts[places]
        found: Vector = (row * weight + shop) / (weight + shop.sum())
        return found

    def _simulated(self, table: UnitTable, observation: str, cause: str) -> Vector | None:
        if self.simulated is None or (self.simulated.unit, self.simulated.complaint) != (table.unit, table.complaint):
            return None
        return self.simulated.counts.get((observation, cause))

    def _counts(self, table: UnitTable, observation: str, cause: str) -> Vector:
        """The shop's counts of one row, (5 outcomes): from cases with that cause alone, soft evidence in parts."""
        key = (table.complaint, table.unit)
        if key not in self._rows_of_shop:
            self._rows_of_shop[key] = _cells(self._mine(table), table)
        return self._rows_of_shop[key].get((observation, cause), np.zeros(len(OUTCOMES)))


def _by_degree(start: Vector, weight: float, counts: Vector) -> Vector:
    """Rows (degrees, outcomes): the table's row, (1, outcomes), whose weight the degrees share, the cause's average,
    and the degree's own counts. On average the rows are what table and counts make without degrees; one in which an
    observation was never had is as the cause is on average."""
    every = (start * weight + counts.sum(axis=0)) / (weight + counts.sum())
    behind = weight / len(counts)
    total = behind + AVERAGE_COUNTS_AS + counts.sum(axis=1, keepdims=True)
    found: Vector = (start * behind + every * AVERAGE_COUNTS_AS + counts) / total
    return found


def _cells(cases: Iterable[tuple[Case, float]], table: UnitTable) -> dict[tuple[str, str], Vector]:
    found: dict[tuple[str, str], Vector] = {}
    for case, weight in cases:
        if len(case.causes) != 1:
            continue
        for one in case.seen:
            if one.observation not in table.observations:
                continue
            told: Mapping[Outcome, float] = known(one.weights, table.observations[one.observation].outcomes)
            total = sum(told.values())
            row = found.setdefault((one.observation, case.causes[0]), np.zeros(len(OUTCOMES)))
            for outcome, part in told.items():
                row[OUTCOMES.index(outcome)] += weight * part / total
    return found
