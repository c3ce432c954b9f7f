"""From a complaint to a decision: following the advice, or taking a table's looks in their written order."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from rig.diagnosis.advice import FOUND, advise
from rig.diagnosis.costs import cost, live
from rig.diagnosis.evidence import Evidence
from rig.diagnosis.model import Model
from rig.diagnosis.rank import Ranking, rank

LONGEST = 60  # looks; no table has as many


@dataclass(frozen=True)
class Decision:
    """What was decided, on which belief, and what it took."""

    ranking: Ranking
    remedy: str | None
    belief: float
    minutes: float
    looks: int
    covers: int  # set-ups that open a cover
    live: int  # looks with mains live


class _Looking:
    """Looks at one unit, with the minutes and covers that it takes."""

    def __init__(self, model: Model, shows: Mapping[str, Evidence]) -> None:
        self._model, self._shows = model, shows
        self.found: list[Evidence] = []
        self.paid: set[str] = set()
        self.minutes, self.live = 0.0, 0

    def at(self, name: str) -> None:
        table = self._model.table
        price = cost(table, name, self.paid)
        self.minutes += price.minutes
        self.live += live(table.observations[name])
        self.paid |= set(price.set_ups)
        self.found.append(self._shows[name])

    def decided(self, ranking: Ranking, remedy: str | None = None) -> Decision:
        best = ranking.needed()
        named = remedy or next(iter(best))
        covers = sum(self._model.table.table.set_ups[s].cover for s in self.paid)
        return Decision(ranking, named, best[named], self.minutes, len(self.found), covers, self.live)


def by_advice(model: Model, shows: Mapping[str, Evidence]) -> Decision:
    """Look where the advice says, until it names a remedy or has nothing more to look at."""
    looking = _Looking(model, shows)
    while True:
        ranking = rank(model, looking.found)
        advice = advise(ranking, looking.paid)
        further = advice.do in ("look", "check again") and advice.next and len(looking.found) < LONGEST
        if not further:
            return looking.decided(ranking, advice.remedy)
        looking.at(advice.next[0].observation)


def in_written_order(model: Model, shows: Mapping[str, Evidence], order: Iterable[str] | None = None) -> Decision:
    """Look down the table until one remedy is believed enough."""
    looking = _Looking(model, shows)
    ranking = rank(model, ())
    for name in order or model.names:
        looking.at(name)
        ranking = rank(model, looking.found)
        if next(iter(ranking.needed().values())) >= FOUND:
            break
    return looking.decided(ranking)
