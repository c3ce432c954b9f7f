"""Evidence from runs on record: a step's reading or answer becomes an outcome, by what the table says of it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from rig.diagnosis.evidence import Evidence, sides
from rig.events import RunRecord, StepResult
from rig.limits import Verdict
from rig.plan.causes import CauseTable, FromStep, Observation, Outcome
from rig.quantities import canonical, convert

_LEAST = 1e-4  # an outcome that is less likely than this is not what was seen
_MEASURED = (
    Verdict.PASS,
    Verdict.CONDITIONAL_PASS,
    Verdict.CONDITIONAL_FAIL,
    Verdict.FAIL,
    Verdict.NOT_EVALUATED,
)


def from_run(
    observations: Mapping[str, Observation], record: RunRecord, cured: frozenset[str] = frozenset()
) -> tuple[Evidence, ...]:
    """What a run says, in the order of its steps. A step that was not run, was stopped or had no reading says nothing.

    Where several steps of one run tell the same, the one that the table names first counts; a step that was repeated
    speaks as often as it was.
    """
    wanted: dict[str, tuple[str, int, FromStep]] = {}
    for name, seen in observations.items():
        for n, source in enumerate(seen.from_):
            if source.procedure == record.started.procedure:
                wanted[source.step] = (name, n, source)
    found: list[tuple[int, str, Evidence]] = []
    for result in record.steps:
        if result.name in wanted:
            name, n, source = wanted[result.name]
            weights = outcome_of(result, source)
            if weights:
                place = f"run {record.started.run[:13]}, {result.name}"
                found.append((n, name, Evidence(name, weights, words_of(result), place, cured)))
    best: dict[str, int] = {}
    for n, name, _ in found:
        best[name] = min(n, best.get(name, n))
    return tuple(e for n, name, e in found if n == best[name])


def outcome_of(result: StepResult, source: FromStep) -> dict[Outcome, float]:
    """How well a step's result agrees with each outcome; empty where it says nothing."""
    if result.verdict not in _MEASURED:
        return {}
    if source.answers:
        told = source.answers.get(result.answer or "", ())
        return dict.fromkeys(told, 1.0)
    weights = _of_reading(result, source)
    found: dict[Outcome, float] = {}
    for outcome, weight in weights.items():
        to = source.read_as.get(outcome, outcome)
        if weight > _LEAST:
            found[to] = found.get(to, 0.0) + weight
    return found


def _of_reading(result: StepResult, source: FromStep) -> Mapping[Outcome, float]:
    reading, limit = result.reading, result.limit
    if reading is None:
        return {}
    if reading.bound is not None:
        return {source.beyond: 1.0}
    if source.none_below is not None:
        least = source.none_below.to(canonical(source.none_below.unit))
        value = convert(reading.value, reading.unit, canonical(source.none_below.unit))
        if value < least:
            return {"none": 1.0}
    if limit is None:
        return {}
    return sides(reading.value, reading.u, limit.at_least, limit.at_most)


def words_of(result: StepResult) -> str:
    """The reading, or the answer, as the record shows it."""
    if result.reading is not None:
        return result.reading.shown
    return result.answer or str(result.verdict)


def shows(table: CauseTable, records: Iterable[RunRecord]) -> int:
    """How many of the steps that show the complaint came out so in these runs."""
    found = 0
    for record in records:
        steps = {s.name: s for s in record.steps}
        for shown in table.shown_by:
            result = steps.get(shown.step)
            if shown.procedure != record.started.procedure or result is None:
                continue
            weights = outcome_of(result, FromStep(procedure=shown.procedure, step=shown.step))
            found += bool(weights) and max(weights, key=lambda o: weights[o]) in shown.outcomes
    return found


def likeliest_complaint(tables: Sequence[CauseTable], records: Sequence[RunRecord]) -> tuple[CauseTable, str]:
    """The table of the complaint that these runs show, and why that one.

    Where no run shows one, the table with the most observations out of order is taken; the first where none is.
    """
    shown = {t.complaint: shows(t, records) for t in tables}
    best = max(tables, key=lambda t: shown[t.complaint])
    if shown[best.complaint]:
        return best, f"the run shows {best.complaint}"
    odd = {t.complaint: _odd(t, records) for t in tables}
    best = max(tables, key=lambda t: odd[t.complaint])
    if odd[best.complaint]:
        return best, f"no step shows a complaint; most that is out of order belongs to {best.complaint}"
    return best, f"nothing in the run is out of order; ranked as {best.complaint}, for want of --complaint"


def _odd(table: CauseTable, records: Iterable[RunRecord]) -> int:
    return sum(e.outcome != "normal" for r in records for e in from_run(table.observations, r))
