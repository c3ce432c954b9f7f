"""Repairs in the order of chance over cost, and what they cost on average.

With one cause, costs that do not depend on each other and every success seen, the order of falling chance over cost
is the cheapest (J. B. Kadane and H. A. Simon, Annals of Statistics 5, 1977; D. Heckerman, J. Breese, K. Rommelse,
Communications of the ACM 38(3), 1995). A cover that several repairs need is paid once: it is opened when the best
share of what lies under it beats all that is open (T. J. Ottosen and F. V. Jensen, 2012, "cluster efficiency").
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from rig.diagnosis.costs import cost
from rig.diagnosis.model import Vector
from rig.diagnosis.rank import Ranking, remedy_classes
from rig.diagnosis.unit_table import UnitTable

LEFT_OVER = 180.0  # minutes, an estimate: what it costs when no remedy of the table cured it


@dataclass(frozen=True)
class Trial:
    """One repair: the chance that it alone cures, its own minutes (the part's price in minutes, too), and the set-up
    that it needs opened, if any."""

    remedy: str
    chance: float
    minutes: float
    opens: str | None = None


@dataclass(frozen=True)
class Plan:
    """Repairs in order, with the minutes that the whole is expected to cost."""

    trials: tuple[Trial, ...]
    expected: float


def in_order(trials: Sequence[Trial], access: Mapping[str, float], opened: Collection[str] = ()) -> tuple[Trial, ...]:
    """The trials in the order of chance over cost, covers (``access``: their minutes) opened when they are worth it."""
    left, found, there = list(trials), [], set(opened)
    while left:
        best, rate, cover = left[0], -1.0, None
        for trial in left:
            if trial.opens in there or trial.opens is None:
                here = trial.chance / max(trial.minutes, 0.1)
                if here > rate:
                    best, rate, cover = trial, here, None
        for word in sorted({t.opens for t in left if t.opens is not None} - there):
            here, first = _cluster([t for t in left if t.opens == word], access[word])
            if here > rate:
                best, rate, cover = first, here, word
        if cover is not None:
            there.add(cover)
        left.remove(best)
        found.append(best)
    return tuple(found)


def _cluster(trials: Sequence[Trial], access: float) -> tuple[float, Trial]:
    """The best chance over cost of the first few under one cover, and the first of them."""
    order = sorted(trials, key=lambda t: -t.chance / max(t.minutes, 0.1))
    chance, minutes, best = 0.0, access, 0.0
    for trial in order:
        chance, minutes = chance + trial.chance, minutes + trial.minutes
        best = max(best, chance / max(minutes, 0.1))
    return best, order[0]


def expected_minutes(
    order: Sequence[Trial], access: Mapping[str, float], opened: Collection[str] = (), left_over: float = 0.0
) -> float:
    """The minutes that an order costs on average: each trial is paid only if none before it cured."""
    there, not_yet, total = set(opened), 1.0, 0.0
    for trial in order:
        minutes = trial.minutes
        if trial.opens is not None and trial.opens not in there:
            minutes += access[trial.opens]
            there.add(trial.opens)
        total += not_yet * minutes
        not_yet -= trial.chance
    return total + max(0.0, not_yet) * left_over


def worth_trying(order: Sequence[Trial]) -> tuple[Trial, ...]:
    """As much of an order as is better than giving up, which costs ``LEFT_OVER`` and always ends it."""
    not_yet, found = 1.0, []
    for trial in order:
        if trial.chance * LEFT_OVER < trial.minutes * not_yet:
            break
        found.append(trial)
        not_yet -= trial.chance
    return tuple(found)


class Repairs:
    """The repairs of one unit's table, ready to be priced for any belief over the model's hypotheses."""

    def __init__(self, ranking: Ranking, owner_only: bool = False) -> None:
        self._table: UnitTable = ranking.model.table
        self._sets, self._index = remedy_classes(ranking.model, ranking.cured)
        known = self._table.table.remedies
        self._single = {
            next(iter(s)): n
            for n, s in enumerate(self._sets)
            if len(s) == 1 and (not owner_only or known[next(iter(s))].who == "owner")
        }
        set_ups = self._table.table.set_ups
        self.access = {name: s.hands_on + s.waiting for name, s in set_ups.items()}

    def plan(self, belief: Vector, opened: Collection[str] = ()) -> Plan:
        """The best order for a belief, (hypotheses,)."""
        mass = np.bincount(self._index, belief, len(self._sets))
        trials = [self._trial(name, float(mass[n])) for name, n in self._single.items() if mass[n] > 1e-6]
        order = worth_trying(in_order(trials, self.access, opened))
        return Plan(order, expected_minutes(order, self.access, opened, LEFT_OVER))

    def _trial(self, name: str, chance: float) -> Trial:
        remedy = self._table.table.remedies[name]
        minutes = remedy.minutes + remedy.part_in_minutes + self._check(name)
        return Trial(name, chance, minutes, remedy.opens[0] if remedy.opens else None)

    def _check(self, name: str) -> float:
        """Minutes to see whether it is cured: the first of what is repeated after the repair."""
        again = [o for o in self._table.table.remedies[name].repeat if o in self._table.observations]
        return cost(self._table, again[0], ("covers-off",)).minutes if again else 0.0
