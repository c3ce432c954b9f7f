"""One diagnosis: a complaint, a unit, what was observed; what is likely, why, and what to do."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Any

from rig.diagnosis.advice import Advice, advise
from rig.diagnosis.after_repair import AfterRepair, after_repair
from rig.diagnosis.evidence import Evidence
from rig.diagnosis.learn import Knowledge, Parts
from rig.diagnosis.model import build
from rig.diagnosis.rank import Ranking, rank
from rig.diagnosis.sentences import Reasons, reasons
from rig.diagnosis.unit_table import NONE_OF_THESE, UnitTable

LEAST_PAIR = 0.005  # a pair below this chance is not worth a line
MOST_PAIRS = 10


@dataclass(frozen=True)
class Diagnosis:
    """All that is said. ``parts`` tells how much of each cause's starting chance comes from where, ``row_parts`` that
    of the chances that each observation has with the likeliest cause, by observation."""

    table: UnitTable
    ranking: Ranking
    reasons: Mapping[str, Reasons]
    advice: Advice
    parts: Mapping[str, Parts]
    row_parts: Mapping[str, Parts]


def diagnose(
    table: UnitTable,
    found: Iterable[Evidence],
    knowledge: Knowledge | None = None,
    *,
    cured: Collection[str] = (),
    paid: Collection[str] = (),
    owner_only: bool = False,
    unknown: Collection[str] = (),
) -> Diagnosis:
    """Rank, explain, propose. ``knowledge`` is what simulation and shop have to say beside the table; ``unknown`` are
    observations that cannot be had, so that they are not proposed."""
    known = knowledge or Knowledge()
    found = tuple(found)
    model = build(table, known.degrees(table), known.start(table))
    ranking = rank(model, found, cured)
    advice = advise(ranking, paid, owner_only, unknown)
    if cured:
        advice = _repeated_first(advice, after_repair(table, found, cured), table)
    first = next(iter(ranking.shares()))
    rows = {} if first == NONE_OF_THESE else _row_parts(known, ranking, first)
    return Diagnosis(table, ranking, reasons(ranking), advice, known.parts(table), rows)


def _row_parts(known: Knowledge, ranking: Ranking, cause: str) -> dict[str, Parts]:
    return {e.observation: known.row_parts(ranking.model.table, e.observation, cause) for e in ranking.evidence}


def _repeated_first(advice: Advice, after: AfterRepair, table: UnitTable) -> Advice:
    """After a repair nothing is concluded before the failing test, and all that the repair disturbed, was repeated."""
    names = ", ".join(table.observations[n].title for n in after.again)
    if after.gone and after.again:
        words = f"what failed is in order now; still to be repeated, for the repair may have disturbed it: {names}"
        return replace(advice, do="repeat", remedy=None, chance=0.0, words=words, repeat=after.again)
    if after.gone:
        words = "what failed before the repair is in order now, and so is all that the repair disturbed"
        return replace(advice, do="cured", remedy=None, chance=0.0, words=words, repeat=(), next=())
    if any(name in after.again for name in after.failed) and not after.still:
        words = f"after the repair, look again at: {names}"
        return replace(advice, do="repeat", remedy=None, chance=0.0, words=words, repeat=after.again)
    return advice


def as_dict(found: Diagnosis) -> dict[str, Any]:
    """The one JSON value of ``rig diagnose --json``."""
    ranking, advice = found.ranking, found.advice
    present = ranking.present()
    return {
        "complaint": found.table.complaint,
        "unit": found.table.unit or None,
        "causes": [
            {
                "cause": name,
                "probability": share,
                "present": present[name],
                "title": found.table.title(name),
                "remedy": None if name == NONE_OF_THESE else found.table.remedies[name],
                "for": list(found.reasons[name].for_),
                "against": list(found.reasons[name].against),
                "start_from": None if name == NONE_OF_THESE else found.parts[name].as_dict(),
            }
            for name, share in ranking.shares().items()
        ],
        "pairs": [
            {"causes": list(pair), "probability": chance}
            for pair, chance in list(ranking.pairs().items())[:MOST_PAIRS]
            if chance >= LEAST_PAIR
        ],
        "next": [
            {
                "observation": n.observation,
                "minutes": n.cost.minutes,
                "hands_on": n.cost.hands_on,
                "waiting": n.cost.waiting,
                "bits": n.bits,
                "who": n.who,
                "needs": list(n.needs),
                "why": n.why,
                "question": found.table.observations[n.observation].question,
                "answers": dict(found.table.observations[n.observation].tells),
                "run": run_of(found.table, n.observation),
            }
            for n in advice.next
        ],
        "advice": {
            "do": advice.do,
            "remedy": advice.remedy,
            "probability": advice.chance if advice.remedy else None,
            "words": advice.words,
            "repeat": list(advice.repeat),
        },
        "fit": {
            "fits": advice.fit.fits,
            "behind": advice.fit.behind,
            "conflict_bits": advice.fit.conflict,
            "against": [e.observation for e in advice.fit.against],
            "words": advice.fit.words,
        },
        "observed": [
            {
                "observation": e.observation,
                "outcome": e.outcome,
                "weights": dict(e.weights),
                "said": e.words,
                "from": e.source,
                "chance_from": found.row_parts[e.observation].as_dict() if e.observation in found.row_parts else None,
            }
            for e in ranking.evidence
        ],
    }


def run_of(table: UnitTable, observation: str) -> str | None:
    """The command that takes an observation on a bench, where a procedure has it."""
    sources = table.observations[observation].from_
    return f"rig run {sources[-1].procedure}" if sources else None
