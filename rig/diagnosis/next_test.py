"""What to look at next: the most information about the remedy, a minute of work and risk.

Information is the mutual information between an observation and the set of remedies that is needed, in bits. Mains
comes last whatever it promises: as long as something on a dead unit, or fed by the bench, is worth its minutes, nothing
live is proposed. A set-up (a run of the unit, an opened cover) is paid once. The first few are looked at two steps
deep: what is learnt by the best second observation counts, too, with what the first has opened.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import dataclass

import numpy as np

from rig.diagnosis.costs import Cost, cost, live, needs
from rig.diagnosis.model import Model, Vector
from rig.diagnosis.rank import Ranking, remedy_classes
from rig.diagnosis.unit_table import UnitTable
from rig.plan.causes import OUTCOMES

WORTH = 0.02  # bits: below this an observation tells nothing
WORTH_BEFORE_LIVE = 0.05  # bits that keep mains off for another observation,
RATE_BEFORE_LIVE = 0.02  # if they come at that many bits a minute: nobody waits an hour for a twentieth of a bit
NOTHING = 1e-8  # a hypothesis that is believed less than this is left out of account
DEEP = 6  # how many are looked at two steps deep


@dataclass(frozen=True)
class Next:
    """One proposal: ``bits`` it is expected to tell, ``rate`` in bits a minute (two steps deep where that was looked
    at), and why."""

    observation: str
    bits: float
    cost: Cost
    rate: float
    who: str
    needs: tuple[str, ...]
    why: str


@dataclass(frozen=True)
class _Belief:
    """The belief by hypothesis, seen as a table over sets of remedies."""

    model: Model
    order: np.ndarray[tuple[int], np.dtype[np.intp]]
    begins: np.ndarray[tuple[int], np.dtype[np.intp]]
    tables: Vector  # (hypotheses in that order, observations, outcomes)

    def joint(self, belief: Vector) -> Vector:
        """P(set of remedies, outcome) for every observation, (sets, observations, outcomes)."""
        weighted = self.tables * belief[self.order][:, None, None]
        found: Vector = np.add.reduceat(weighted, self.begins, axis=0)
        return found


def _sorted_by_remedy(ranking: Ranking) -> _Belief:
    model = ranking.model
    _, index = remedy_classes(model, ranking.cured)
    order = np.argsort(index, kind="stable")
    order = order[ranking.belief[order] > NOTHING]
    _, begins = np.unique(index[order], return_index=True)
    tables = model.stacked if not ranking.cured else _cured_tables(ranking)
    return _Belief(model, order, begins, tables[order])


def _cured_tables(ranking: Ranking) -> Vector:
    model = ranking.model
    found = np.zeros_like(model.stacked)
    for n, name in enumerate(model.names):
        for m, outcome in enumerate(model.outcomes[name]):
            found[:, n, OUTCOMES.index(outcome)] = model.table_of(name, ranking.cured)[:, m]
    return found


def _bits(joint: Vector) -> Vector:
    """Mutual information (bits) between the first axis and the last, for every observation."""
    outcome, remedy = joint.sum(axis=0), joint.sum(axis=2)
    return np.maximum(0.0, _entropy(outcome, 1) + _entropy(remedy, 0) - _entropy(joint.transpose(1, 0, 2), (1, 2)))


def _entropy(mass: Vector, axis: int | tuple[int, ...]) -> Vector:
    found: Vector = -np.sum(mass * np.log2(np.where(mass > 0, mass, 1.0)), axis=axis)
    return found


def information(ranking: Ranking) -> dict[str, float]:
    """The expected information of every observation, bits about the remedy."""
    return dict(
        zip(ranking.model.names, map(float, _bits(_sorted_by_remedy(ranking).joint(ranking.belief))), strict=True)
    )


def propose(
    ranking: Ranking,
    paid: Collection[str] = (),
    owner_only: bool = False,
    most: int = 5,
    unknown: Collection[str] = (),
) -> tuple[Next, ...]:
    """The best next observations, the best first; none where nothing is worth its time.

    ``paid`` are set-ups that are there already; with ``owner_only`` nothing that takes a technician is proposed;
    ``unknown`` are observations that cannot be had.
    """
    sight = _sorted_by_remedy(ranking)
    joint = sight.joint(ranking.belief)
    bits = _bits(joint)
    everything = [n for n in range(len(bits)) if _may(ranking, n, owner_only, unknown)]
    open_to = _candidates(ranking, bits, everything, paid)
    if not open_to:
        return ()
    table = ranking.model.table
    costs = {n: cost(table, ranking.model.names[n], paid) for n in open_to}
    rates = {n: float(bits[n]) / costs[n].total for n in open_to}
    order = sorted(open_to, key=lambda n: -rates[n])
    first_at_one = order[0]
    deep = order[:DEEP]
    for n in deep:
        rates[n] = max(rates[n], _two_steps(ranking, sight, n, joint, costs[n], paid, everything))
    order = sorted(open_to, key=lambda n: (n not in deep, -rates[n]))
    changed = order[0] != first_at_one
    return tuple(
        _next(ranking, n, float(bits[n]), costs[n], rates[n], paid, changed and n == order[0]) for n in order[:most]
    )


def _may(ranking: Ranking, n: int, owner_only: bool, unknown: Collection[str]) -> bool:
    name = ranking.model.names[n]
    seen = ranking.model.table.observations[name]
    had = {e.observation for e in ranking.evidence if e.cured == ranking.cured}
    return name not in had and name not in unknown and (not owner_only or seen.who == "owner")


def _candidates(ranking: Ranking, bits: Vector, everything: Iterable[int], paid: Collection[str]) -> list[int]:
    """What may be proposed: dead before live is an order, not a price."""
    seen = ranking.model.table.observations
    may = [n for n in everything if bits[n] >= WORTH]
    quiet = [n for n in may if not live(seen[ranking.model.names[n]])]
    worth = [
        n for n in quiet if bits[n] >= WORTH_BEFORE_LIVE and bits[n] / _total(ranking, n, paid) >= RATE_BEFORE_LIVE
    ]
    return quiet if worth else may


def _total(ranking: Ranking, n: int, paid: Collection[str]) -> float:
    return cost(ranking.model.table, ranking.model.names[n], paid).total


def _two_steps(
    ranking: Ranking, sight: _Belief, n: int, joint: Vector, first: Cost, paid: Collection[str], others: Iterable[int]
) -> float:
    """Bits a minute of an observation and the best one after each of its outcomes."""
    model, table = ranking.model, ranking.model.table
    open_now = {*paid, *table.observations[model.names[n]].set_ups}
    rest = [
        m
        for m in others
        if m != n and (live(table.observations[model.names[m]]) <= live(table.observations[model.names[n]]))
    ]
    if not rest:
        return 0.0
    second = np.array([cost(table, model.names[m], open_now).total for m in rest])
    told = float(_bits(joint[:, n : n + 1])[0])
    minutes = first.total
    for m in range(joint.shape[2]):
        chance = float(joint[:, n, m].sum())
        if chance < 1e-6:
            continue
        after = np.zeros_like(ranking.belief)
        after[sight.order] = ranking.belief[sight.order] * sight.tables[:, n, m] / chance
        bits = _bits(sight.joint(after)[:, rest])
        # what raises the rate of both together most
        best = int(np.argmax((told + chance * bits) / (minutes + chance * second)))
        if (told + chance * bits[best]) * minutes > told * (minutes + chance * second[best]):
            told += chance * float(bits[best])
            minutes += chance * float(second[best])
    return told / minutes


def _next(
    ranking: Ranking, n: int, bits: float, price: Cost, rate: float, paid: Collection[str], changed: bool
) -> Next:
    table = ranking.model.table
    name = ranking.model.names[n]
    seen = table.observations[name]
    parts = [f"tells {seen.splits}" if seen.splits else f"tells {bits:.2f} bits about the remedy"]
    minutes = f"{price.minutes:.0f} minute{'' if round(price.minutes) == 1 else 's'}"
    parts.append(minutes + (f", {price.waiting:.0f} of them waiting" if price.waiting else ""))
    parts.append(_covers(table, seen.set_ups, price, paid))
    if live(seen):
        parts.append("mains is live, and nothing on a dead unit tells more")
    if changed:
        parts.append("with the look after it, it leads further than what tells most by itself")
    return Next(name, bits, price, rate, seen.who, needs(table, name, paid), "; ".join(p for p in parts if p))


def _covers(table: UnitTable, wanted: Collection[str], price: Cost, paid: Collection[str]) -> str:
    if price.covers:
        return "covers come off"
    shared = {table.table.set_ups[w].cover for w in wanted if w in paid}
    words = "the covers are off already" if True in shared else "covers stay on"
    return words + (", it comes with the same run" if False in shared else "")
