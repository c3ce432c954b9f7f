"""What to do now: look further, repair, or say that it cannot be told from here."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from typing import Literal

from rig.diagnosis.fit import Fit, fit
from rig.diagnosis.next_test import Next, propose
from rig.diagnosis.rank import Ranking
from rig.diagnosis.repair import Plan, Repairs
from rig.diagnosis.value import after_look

FOUND = 0.90  # the chance that a remedy is needed from which on more looking buys little
REPAIR_AT = 0.80  # below this nothing is repaired while a look can still tell, however cheap the repair is
WORTH_A_TRY = 0.20  # the least chance of something that an owner is asked to try

Do = Literal["look", "repair", "found", "try", "book it in", "check again", "cannot be told", "repeat", "cured"]


@dataclass(frozen=True)
class Advice:
    """``remedy`` and the ``chance`` that it is needed, where one is meant; ``repeat`` is what to look at after it."""

    do: Do
    remedy: str | None
    chance: float
    words: str
    repeat: tuple[str, ...]
    next: tuple[Next, ...]
    plan: Plan
    fit: Fit


def advise(
    ranking: Ranking, paid: Collection[str] = (), owner_only: bool = False, unknown: Collection[str] = ()
) -> Advice:
    """The advice for a ranking. ``paid`` are runs and covers that are there already, ``unknown`` observations that
    cannot be had."""
    how = fit(ranking)
    proposals = propose(ranking, paid, owner_only, unknown=unknown)
    everyone = Repairs(ranking)
    plan = everyone.plan(ranking.belief, paid)
    chances = ranking.needed()
    top = next(iter(chances))
    if not how.fits:
        return Advice("check again", None, 0.0, how.words, (), proposals, plan, how)
    if owner_only:
        return _for_owner(ranking, proposals, chances, top, plan, how)
    if chances[top] >= FOUND:
        return _repair("found", ranking, top, chances[top], "", proposals, plan, how)
    if not proposals:
        words = "nothing in the table tells what is left apart; repair in the order of chance over cost"
        return _first_of_plan("cannot be told", ranking, words, chances, proposals, plan, how)
    cheaper = _looking_costs(ranking, everyone, proposals, paid)
    first = plan.trials[0].remedy if plan.trials else top
    if chances[first] >= REPAIR_AT and plan.expected <= cheaper:
        words = f"repairing now costs {plan.expected:.0f} minutes on average, looking first {cheaper:.0f}"
        return _first_of_plan("repair", ranking, words, chances, proposals, plan, how)
    words = f"{proposals[0].observation}: {proposals[0].why}"
    return Advice("look", None, 0.0, words, (), proposals, plan, how)


def _looking_costs(ranking: Ranking, repairs: Repairs, proposals: Collection[Next], paid: Collection[str]) -> float:
    """The least minutes of one more look and the repairs after it."""
    model = ranking.model

    def minutes(one: Next) -> float:
        opened = {*paid, *one.cost.set_ups}
        table = model.table_of(one.observation, ranking.cured)
        return one.cost.total + after_look(ranking.belief, table, lambda b: repairs.plan(b, opened).expected)

    return min(minutes(one) for one in proposals)


def _for_owner(
    ranking: Ranking, proposals: tuple[Next, ...], chances: dict[str, float], top: str, plan: Plan, how: Fit
) -> Advice:
    """Over the telephone: ask on while asking helps, then something to try, or the workshop."""
    known = ranking.model.table.table.remedies
    if chances[top] >= FOUND and known[top].who == "owner":
        return _repair("try", ranking, top, chances[top], "if it stays, book it in", proposals, plan, how)
    if proposals and chances[top] < FOUND:
        words = f"{proposals[0].observation}: {proposals[0].why}"
        return Advice("look", None, 0.0, words, (), proposals, plan, how)
    own = {r: p for r, p in chances.items() if known[r].who == "owner"}
    best = max(own, key=lambda r: own[r] / known[r].minutes, default=None)
    if best is not None and own[best] >= WORTH_A_TRY and chances[top] < FOUND:
        return _repair("try", ranking, best, own[best], "if it stays, book it in", proposals, plan, how)
    words = f"book it into the workshop: {known[top].title[0].lower()}{known[top].title[1:]} is likeliest"
    return Advice("book it in", top, chances[top], words, (), (), plan, how)


def _first_of_plan(
    do: Do, ranking: Ranking, why: str, chances: dict[str, float], proposals: tuple[Next, ...], plan: Plan, how: Fit
) -> Advice:
    first = plan.trials[0].remedy if plan.trials else max(chances, key=lambda r: chances[r])
    return _repair(do, ranking, first, chances[first], why, proposals, plan, how)


def _repair(
    do: Do, ranking: Ranking, remedy: str, chance: float, why: str, proposals: tuple[Next, ...], plan: Plan, how: Fit
) -> Advice:
    known = ranking.model.table.table.remedies[remedy]
    words = known.title + (f"; {why}" if why else "")
    if known.caution:
        words += f". {known.caution}"
    again = tuple(o for o in known.repeat if o in ranking.model.table.observations)
    return Advice(do, remedy, chance, words, again, proposals, plan, how)
