"""Why a cause is believed or not, in sentences."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from rig.diagnosis.evidence import Evidence, known
from rig.diagnosis.model import Model
from rig.diagnosis.rank import Ranking, likelihood

TELLS = 0.3  # bits: what moves less than this is not worth a sentence
MOST = 5  # sentences for, and against, one cause


@dataclass(frozen=True)
class Reasons:
    """Sentences for and against one cause, the weightiest first."""

    for_: tuple[str, ...]
    against: tuple[str, ...]


def reasons(ranking: Ranking) -> dict[str, Reasons]:
    """By cause. The weight of one observation for a cause is log2 of how much oftener it comes with that cause than
    with all others, each others' chance as it stands (I. J. Good, Probability and the Weighing of Evidence, 1950)."""
    model = ranking.model
    has = _membership(model)
    found: dict[str, list[tuple[float, str]]] = {name: [] for name in model.causes}
    for one in ranking.evidence:
        with_it, without = _both_ways(model, has, likelihood(model, one))
        for n, name in enumerate(model.causes):
            bits = float(np.log2(with_it[n] / without[n]))
            if abs(bits) >= TELLS:
                found[name].append((bits, _sentence(model, one, with_it[n], without[n])))
    return {name: _split(some) for name, some in found.items()}


def _split(some: list[tuple[float, str]]) -> Reasons:
    in_favour = sorted((s for s in some if s[0] > 0), key=lambda s: -s[0])
    against = sorted((s for s in some if s[0] < 0), key=lambda s: s[0])
    return Reasons(tuple(t for _, t in in_favour[:MOST]), tuple(t for _, t in against[:MOST]))


def _membership(model: Model) -> np.ndarray[tuple[int, int], np.dtype[np.float64]]:
    """(causes, hypotheses): 1 where a hypothesis holds a cause."""
    found = np.zeros((len(model.causes), len(model.prior)))
    here = np.arange(len(model.prior))
    found[model.cause_of[model.first], here] = 1.0
    pair = model.second >= 0
    found[model.cause_of[model.second[pair]], here[pair]] = 1.0
    return found


def _both_ways(
    model: Model,
    has: np.ndarray[tuple[int, int], np.dtype[np.float64]],
    likely: np.ndarray[tuple[int], np.dtype[np.float64]],
) -> tuple[np.ndarray[tuple[int], np.dtype[np.float64]], np.ndarray[tuple[int], np.dtype[np.float64]]]:
    """P(what was seen | cause) and P(what was seen | not that cause), for every cause."""
    mass, both = has @ model.prior, has @ (model.prior * likely)
    every = float(model.prior @ likely)
    tiny = 1e-12
    return both / np.maximum(mass, tiny), np.maximum(every - both, tiny) / np.maximum(1.0 - mass, tiny)


def _sentence(model: Model, one: Evidence, with_it: float, without: float) -> str:
    seen = model.table.observations[one.observation]
    told = known(one.weights, model.outcomes[one.observation])
    outcome = max(told, key=lambda o: told[o])
    said = f" ({one.words})" if one.words else ""
    close = "" if min(told.values()) == 1.0 or one.clear else ", close to the limit"
    return f"{seen.title}: {seen.tells[outcome]}{said}{close}; {_of_100(with_it)} with it, {_of_100(without)} without"


def _of_100(chance: float) -> str:
    """A chance as people count it."""
    if chance < 0.01:
        return "fewer than 1 in 100 units"
    return f"{min(99, round(100 * chance))} in 100 units"
