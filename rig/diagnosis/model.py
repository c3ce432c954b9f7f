"""The model as arrays: every single cause and every pair, and how each observation comes out under each of them.

A cause may come in several *degrees* (from hardly to wholly): rows of their own, so that observations hang together
as they do in a unit, where one severity is behind all of them. Given a hypothesis the observations are independent.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from rig.diagnosis.together import both
from rig.diagnosis.unit_table import NONE_OF_THESE, UnitTable
from rig.plan.causes import OUTCOMES, Outcome

Vector = NDArray[np.float64]
Index = NDArray[np.intp]

NEVER = 0.005  # no row of a table is certain: this share of it is spread evenly over the outcomes
UNKNOWN = 0.5  # how much of "none of these" is spread evenly; the rest is how the table's causes come out on average

# Degrees of a cause for one observation: rows (degrees, outcomes) in the order of the observation's outcomes.
Degrees = Mapping[tuple[str, str], Vector]


@dataclass(frozen=True)
class Model:
    """``causes`` ends with none-of-these. A hypothesis h is the degrees ``first[h]`` and ``second[h]`` (-1: alone)."""

    table: UnitTable
    causes: tuple[str, ...]
    cause_of: Index  # by degree
    first: Index
    second: Index
    prior: Vector
    base: Mapping[str, Vector]  # by observation: (degrees, outcomes)
    healthy: Mapping[str, Vector]  # by observation: (outcomes,)
    outcomes: Mapping[str, tuple[Outcome, ...]]
    _made: dict[tuple[str, frozenset[str]], Vector] = field(default_factory=dict, repr=False)

    def table_of(self, observation: str, cured: frozenset[str] = frozenset()) -> Vector:
        """P(outcome | hypothesis), (hypotheses, outcomes), with some causes cured: a pair is then its other cause.

        A cause that was alone and counts as cured is still taken for present: the repair has not taken.
        """
        key = (observation, cured)
        if key not in self._made:
            self._made[key] = self._table(observation, cured)
        return self._made[key]

    def _table(self, observation: str, cured: frozenset[str]) -> Vector:
        base, healthy = self.base[observation], self.healthy[observation]
        pair = self.second >= 0
        found = base[self.first]
        found[pair] = both(base[self.first[pair]], base[self.second[pair]], healthy, self.outcomes[observation])
        if cured:
            gone = np.array([name in cured for name in self.causes])[self.cause_of]
            first_gone, second_gone = gone[self.first], pair & gone[self.second]
            found[pair & first_gone] = base[self.second[pair & first_gone]]
            found[second_gone] = base[self.first[second_gone]]
        return found

    def with_cured(self, cured: frozenset[str]) -> tuple[Index, Index]:
        """Per hypothesis the causes, (first, second) or -1, that are left once some are cured."""
        one = self.cause_of[self.first]
        two = np.where(self.second >= 0, self.cause_of[self.second], -1)
        gone = [n for n, name in enumerate(self.causes) if name in cured]
        swap = np.isin(one, gone) & (two >= 0)
        one, two = np.where(swap, two, one), np.where(swap, -1, two)
        return one, np.where(np.isin(two, gone), -1, two)

    @cached_property
    def names(self) -> tuple[str, ...]:
        """The observations that the model knows."""
        return tuple(self.base)

    @cached_property
    def stacked(self) -> Vector:
        """All tables, (hypotheses, observations, 5 outcomes), what an observation does not tell apart filled with 0."""
        found = np.zeros((len(self.prior), len(self.names), len(OUTCOMES)))
        for n, name in enumerate(self.names):
            for m, outcome in enumerate(self.outcomes[name]):
                found[:, n, OUTCOMES.index(outcome)] = self.table_of(name)[:, m]
        return found


def build(
    table: UnitTable,
    degrees: Degrees | None = None,
    start: Mapping[str, float] | None = None,
    never: float = NEVER,
) -> Model:
    """The model of a unit's table. ``degrees`` are rows that replace the table's, by (observation, cause), every
    cause with the same number of them in all its observations; ``start`` replaces the table's starting chances;
    ``never`` is the share of every row that is spread evenly."""
    given = degrees or {}
    causes = (*table.causes, NONE_OF_THESE)
    many = _how_many(causes, given)
    cause_of = np.repeat(np.arange(len(causes)), [many[c] for c in causes])
    base, healthy, outcomes = {}, {}, {}
    weight = np.array([(start or table.start())[c] for c in causes])
    for name, seen in table.observations.items():
        told = outcomes[name] = seen.outcomes
        healthy[name] = _spread(np.array([[seen.healthy.of(o) for o in told]]), never)[0]
        rows = [_rows(table, name, cause, many[cause], given, told) for cause in table.causes]
        means = np.array([r.mean(axis=0) for r in rows])
        average = weight[:-1] @ means / weight[:-1].sum()
        unknown = UNKNOWN / len(told) + (1.0 - UNKNOWN) * average
        base[name] = _spread(np.concatenate([*rows, unknown[None, :]]), never)
    first, second, prior = _hypotheses(weight, cause_of, [many[c] for c in causes], table.two_causes())
    return Model(table, causes, cause_of, first, second, prior, base, healthy, outcomes)


def _how_many(causes: Sequence[str], given: Degrees) -> dict[str, int]:
    many = dict.fromkeys(causes, 1)
    for (_, cause), rows in given.items():
        if many[cause] not in (1, len(rows)):
            raise ValueError(f"{cause} has {many[cause]} degrees in one observation and {len(rows)} in another")
        many[cause] = len(rows)
    return many


def _rows(table: UnitTable, observation: str, cause: str, many: int, given: Degrees, told: Sequence[Outcome]) -> Vector:
    found = given.get((observation, cause))
    if found is None:
        row, _ = table.row(observation, cause)
        found = np.array([[row.of(o) for o in told]])
    rows: Vector = np.repeat(found, many, axis=0) if len(found) == 1 else found
    return rows


def _spread(rows: Vector, never: float) -> Vector:
    found: Vector = rows * (1.0 - never) + never / rows.shape[1]
    return found


def _hypotheses(weight: Vector, cause_of: Index, many: Sequence[int], two: float) -> tuple[Index, Index, Vector]:
    """Every degree alone and every pair of degrees of two causes, with their prior.

    A pair is as likely as the product of its causes' chances makes it among pairs. Half of what a cause has in pairs
    is taken from it alone, so that its share (see ``rank``) before any observation is its starting chance exactly.
    """
    known = len(weight) - 1
    part = weight[:known] / weight[:known].sum()
    i, j = np.triu_indices(known, 1)
    products = part[i] * part[j]
    pairs = two * products / products.sum() if products.sum() > 0 else products
    in_pairs = np.bincount(i, pairs, known) + np.bincount(j, pairs, known)
    alone = weight.copy()
    alone[:known] = np.maximum(0.0, weight[:known] - 0.5 * in_pairs)
    count = np.asarray(many)
    singles = np.arange(len(cause_of))
    begins = np.concatenate([[0], np.cumsum(count)[:-1]])
    firsts, seconds, priors = [singles], [np.full(len(singles), -1)], [alone[cause_of] / count[cause_of]]
    for a, b, mass in zip(i, j, pairs, strict=True):
        x, y = np.meshgrid(begins[a] + np.arange(count[a]), begins[b] + np.arange(count[b]), indexing="ij")
        firsts.append(x.ravel())
        seconds.append(y.ravel())
        priors.append(np.full(x.size, mass / x.size))
    prior = np.concatenate(priors)
    return np.concatenate(firsts), np.concatenate(seconds), prior / prior.sum()
