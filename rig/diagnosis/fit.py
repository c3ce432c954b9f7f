"""Whether the model can be believed at all: does any of its hypotheses explain what was seen?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from rig.diagnosis.evidence import Evidence
from rig.diagnosis.rank import Ranking, likelihood
from rig.diagnosis.unit_table import NONE_OF_THESE

TOO_FAR = 3.0  # standard deviations that the best explanation may stay behind what it leads one to expect
UNLIKELY = 0.1  # an observation that fewer than one in ten such units show
SUSPECT = 0.5  # the share of "none of these" from which on the table is not believed


@dataclass(frozen=True)
class Fit:
    """``fits`` is False where the model is contradicted. ``behind`` is in standard deviations, ``conflict`` in bits.

    The conflict measure is log2(product of P(e_i) / P(e)) (F. V. Jensen, B. Chamberlain, T. Nordahl, F. Jensen,
    Analysis in HUGIN of data conflict, 1990): above 0, the observations pull apart more than together.
    """

    fits: bool
    behind: float
    conflict: float
    against: tuple[Evidence, ...]  # what the best explanation leaves unexplained
    words: str


def fit(ranking: Ranking) -> Fit:
    """How the best single hypothesis stands to what was seen. Nothing seen contradicts nothing."""
    model, seen = ranking.model, ranking.evidence
    if not seen:
        return Fit(True, 0.0, 0.0, (), "nothing has been observed yet")
    best = _best(ranking)
    expected = spread = got = 0.0
    together = np.ones_like(model.prior)
    apart, against = 0.0, []
    for one in seen:
        likely = likelihood(model, one)
        row = model.table_of(one.observation, one.cured)[best]
        bits = np.log2(row)
        mean = float(row @ bits)
        expected += mean
        spread += float(row @ (bits - mean) ** 2)
        got += float(np.log2(likely[best]))
        apart += float(np.log2(model.prior @ likely))
        together *= likely
        if likely[best] < UNLIKELY:
            against.append(one)
    behind = (expected - got) / max(spread, 0.25) ** 0.5
    conflict = apart - float(np.log2(model.prior @ together))
    unknown = ranking.shares()[NONE_OF_THESE]
    fits = (behind <= TOO_FAR or not against) and unknown < SUSPECT
    return Fit(fits, behind, conflict, tuple(against), _words(fits, unknown, against))


def _best(ranking: Ranking) -> int:
    """The likeliest hypothesis that names causes."""
    model = ranking.model
    unknown = model.causes.index(NONE_OF_THESE)
    named = (model.cause_of[model.first] != unknown).astype(float)
    return int(np.argmax(ranking.belief * named))


def _words(fits: bool, unknown: float, against: list[Evidence]) -> str:
    if fits:
        return "the observations fit the model"
    text = "the model does not fit: no cause and no pair of causes explains what was observed"
    if against:
        text += f" ({', '.join(e.observation for e in against)} speak against the best of them)"
    if unknown >= SUSPECT:
        text += f"; {100 * unknown:.0f} % is left for what the table does not know"
    return text + ". Check the readings again, and look for something that is not in the table"
