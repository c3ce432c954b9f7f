"""What was observed: for each observation, how well every outcome agrees with what was seen."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from rig.distributions import normal_cdf
from rig.plan.causes import Outcome

SURE = 0.95  # the share of the likeliest outcome from which on a reading is on one side of its limit beyond doubt


@dataclass(frozen=True)
class Evidence:
    """One observation. ``weights`` says how likely what was seen is for each outcome, as parts of the likeliest.

    A clear outcome has one weight of 1; a reading near a limit has two that add up to 1 (virtual evidence,
    J. Pearl, Probabilistic Reasoning in Intelligent Systems, 1988, 2.2.2). ``cured`` are the causes that had been
    repaired before.
    """

    observation: str
    weights: Mapping[Outcome, float]
    words: str = ""  # the reading or the answer, for people
    source: str = ""  # where it comes from: a run and its step, or who said so
    cured: frozenset[str] = field(default_factory=frozenset)

    @property
    def outcome(self) -> Outcome:
        """The likeliest outcome."""
        return max(self.weights, key=lambda o: self.weights[o])

    @property
    def clear(self) -> bool:
        """Whether one outcome alone is meant."""
        return sum(1 for w in self.weights.values() if w > 1e-6) == 1


def seen(observation: str, outcome: Outcome, words: str = "", source: str = "") -> Evidence:
    """A clear outcome."""
    return Evidence(observation, {outcome: 1.0}, words, source)


def sides(value: float, u: float, low: float | None, high: float | None) -> dict[Outcome, float]:
    """The chances that the true value lies below, within and above a limit, for a reading with standard uncertainty
    ``u`` (normal distribution; JCGM 106:2012, 7.2 and 7.3). All in one unit; an end that is None does not exist.
    """
    below = 0.0 if low is None else _beyond((low - value), u)
    above = 0.0 if high is None else _beyond((value - high), u)
    return {"normal": max(0.0, 1.0 - below - above), "low": below, "high": above}


def _beyond(excess: float, u: float) -> float:
    return normal_cdf(excess / u) if u > 0 else float(excess > 0)


def one_each(found: Iterable[Evidence]) -> tuple[Evidence, ...]:
    """The evidence with every observation once, in the order of first sight.

    What was seen normal at one time and abnormal at another, with nothing repaired between, is intermittent: the
    fault that comes and goes. Where the table has no such outcome the later one is told as that, see ``known``.
    Otherwise the latest counts.
    """
    kept: dict[tuple[str, frozenset[str]], Evidence] = {}
    for one in found:
        key = (one.observation, one.cured)
        before = kept.get(key)
        if before is not None and _apart(before, one):
            one = Evidence(
                one.observation, _either(before, one), f"{before.words}; then {one.words}", one.source, one.cured
            )
        kept[key] = one
    return tuple(kept.values())


def _apart(before: Evidence, after: Evidence) -> bool:
    """Whether one is normal and the other is not, both beyond doubt: readings near a limit may fall either way."""
    sure = all(e.weights[e.outcome] >= SURE * sum(e.weights.values()) for e in (before, after))
    return sure and (before.outcome == "normal") != (after.outcome == "normal")


def _either(before: Evidence, after: Evidence) -> dict[Outcome, float]:
    """Intermittent first; the abnormal outcome stands in for it where a table does not tell intermittent."""
    abnormal = after if before.outcome == "normal" else before
    return {"intermittent": 1.0, abnormal.outcome: 1e-3}


def known(weights: Mapping[Outcome, float], outcomes: Iterable[Outcome]) -> dict[Outcome, float]:
    """The weights of the outcomes that a table tells apart, the largest 1. Empty where nothing is left.

    ``none`` is read as low and the other way round where only one of them is told; nothing else is guessed.
    """
    told = tuple(outcomes)
    kept: dict[Outcome, float] = {}
    stands_for: dict[Outcome, Outcome] = {"none": "low", "low": "none"}
    for outcome, weight in weights.items():
        to = outcome if outcome in told else stands_for.get(outcome, outcome)
        if to in told:
            kept[to] = kept.get(to, 0.0) + weight
    largest = max(kept.values(), default=0.0)
    return {o: w / largest for o, w in kept.items()} if largest > 0 else {}
