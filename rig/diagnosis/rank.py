"""Exact posterior over every single cause and every pair."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from rig.diagnosis.evidence import Evidence, known, one_each
from rig.diagnosis.model import Model, Vector
from rig.diagnosis.unit_table import NONE_OF_THESE

REPAIR_FAILS = 0.05  # an estimate: the share of repairs that do not take, so that the cause is still there
_LEAST = 1e-300


@dataclass(frozen=True)
class Ranking:
    """What is believed after ``evidence``; ``belief`` is over the model's hypotheses and adds up to 1.

    A cause's *share* is its chance alone and half of what it has in pairs: shares add up to 1. Its *presence* is the
    chance that the unit has it, alone or not. ``ignored`` is evidence that the table knows nothing of.
    """

    model: Model
    evidence: tuple[Evidence, ...]
    ignored: tuple[Evidence, ...]
    belief: Vector
    cured: frozenset[str] = frozenset()

    def shares(self) -> dict[str, float]:
        """By cause, the largest first; equal ones in the order of the table."""
        one, two = self.model.with_cured(self.cured)
        size = len(self.model.causes)
        half = np.where(two >= 0, 0.5, 1.0) * self.belief
        return self._sorted(np.bincount(one, half, size) + np.bincount(two[two >= 0], half[two >= 0], size))

    def present(self) -> dict[str, float]:
        """By cause, the largest first."""
        one, two = self.model.with_cured(self.cured)
        size = len(self.model.causes)
        pair = two >= 0
        return self._sorted(np.bincount(one, self.belief, size) + np.bincount(two[pair], self.belief[pair], size))

    def pairs(self) -> dict[tuple[str, str], float]:
        """By two causes, the likeliest first."""
        one, two = self.model.with_cured(self.cured)
        pair, size = two >= 0, len(self.model.causes)
        key = np.minimum(one, two)[pair] * size + np.maximum(one, two)[pair]
        mass = np.bincount(key, self.belief[pair], size * size)
        names = self.model.causes
        found = {(names[k // size], names[k % size]): float(mass[k]) for k in np.nonzero(mass)[0]}
        return dict(sorted(found.items(), key=lambda item: -item[1]))

    def remedies(self) -> dict[frozenset[str], float]:
        """By the remedies that are needed together, the likeliest first; the empty set is none of these."""
        sets, index = remedy_classes(self.model, self.cured)
        mass = np.bincount(index, self.belief, len(sets))
        return dict(sorted(zip(sets, map(float, mass), strict=True), key=lambda item: -item[1]))

    def needed(self) -> dict[str, float]:
        """By remedy, the chance that it is needed, alone or with another; the likeliest first."""
        found: dict[str, float] = {}
        for remedies, chance in self.remedies().items():
            for name in remedies:
                found[name] = found.get(name, 0.0) + chance
        return dict(sorted(found.items(), key=lambda item: -item[1]))

    def _sorted(self, values: Any) -> dict[str, float]:
        found = {name: float(v) for name, v in zip(self.model.causes, values, strict=True)}
        return dict(sorted(found.items(), key=lambda item: -round(item[1], 12)))  # no order by rounding errors


def likelihood(model: Model, one: Evidence) -> Vector:
    """P(what was seen | hypothesis) up to a common factor, (hypotheses,); empty where the table does not know it."""
    if one.observation not in model.base:
        return np.empty(0)
    told = model.outcomes[one.observation]
    weights = known(one.weights, told)
    if not weights:
        return np.empty(0)
    found: Vector = model.table_of(one.observation, one.cured) @ np.array([weights.get(o, 0.0) for o in told])
    return found


def rank(model: Model, found: Iterable[Evidence], cured: Iterable[str] = ()) -> Ranking:
    """The posterior. ``cured`` are causes that were repaired while the complaint stayed: what they explained alone is
    out but for the repairs that do not take."""
    gone = frozenset(cured)
    used, ignored = [], []
    score = np.log(np.maximum(model.prior, _LEAST))
    for one in one_each(found):
        likely = likelihood(model, one)
        if likely.size:
            used.append(one)
            score += np.log(np.maximum(likely, _LEAST))
        else:
            ignored.append(one)
    if gone:
        one_left, two_left = model.with_cured(gone)
        still = np.isin(one_left, [n for n, c in enumerate(model.causes) if c in gone]) & (two_left < 0)
        score[still] += np.log(REPAIR_FAILS)
    belief = np.exp(score - score.max())
    return Ranking(model, tuple(used), tuple(ignored), belief / belief.sum(), gone)


def remedy_classes(
    model: Model, cured: frozenset[str] = frozenset()
) -> tuple[tuple[frozenset[str], ...], np.ndarray[tuple[int], np.dtype[np.intp]]]:
    """The sets of remedies that hypotheses need, and the number of the set for each hypothesis."""
    remedy: Mapping[str, str] = model.table.remedies
    own = [frozenset() if c == NONE_OF_THESE else frozenset({remedy[c]}) for c in model.causes]
    one, two = model.with_cured(cured)
    size = len(model.causes)
    key = one * (size + 1) + np.where(two >= 0, two, size)
    keys, inverse = np.unique(key, return_inverse=True)
    wanted = [own[k // (size + 1)] | (own[k % (size + 1)] if k % (size + 1) < size else frozenset()) for k in keys]
    sets = tuple(dict.fromkeys(wanted))
    number = {s: n for n, s in enumerate(sets)}
    return sets, np.array([number[w] for w in wanted])[inverse]
