"""Evidence from runs on record: a step's reading or answer becomes an outcome, by what the table says of it."""

from __future__ import annotations

from collections.abc import Mapping

from rig.diagnosis.evidence import Evidence, sides
from rig.events import RunRecord, StepResult
from rig.limits import Verdict
from rig.plan.causes import FromStep, Observation, Outcome
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
    """What a run says, in the order of its steps. A step that was not run or had no reading says nothing; one that an
    interlock stopped says what the table has for that interlock: the unit ran dry, or did not warm.

    Where several steps of one run tell the same, the one that the table names first counts; a step that was repeated
    speaks as often as it was.
    """
    wanted: dict[str, list[tuple[str, int, FromStep]]] = {}
    for name, seen in observations.items():
        for n, source in enumerate(seen.from_):
            if source.procedure == record.started.procedure:
                wanted.setdefault(source.step, []).append((name, n, source))
    found: list[tuple[int, str, Evidence]] = []
    for result in record.steps:
        for name, n, source in wanted.get(result.name, ()):
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
    if result.verdict is Verdict.STOPPED:
        return {told: 1.0 for lock, told in source.stopped_by.items() if f"interlock {lock}:" in (result.reason or "")}
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
        failed = result.verdict is Verdict.FAIL and source.without_reading is not None
        return {source.without_reading: 1.0} if failed and source.without_reading else {}
    if reading.bound is not None:
        return {source.beyond: 1.0}
    if source.none_below is not None:
        code = canonical(source.none_below.unit)
        if canonical(reading.unit) != code:
            return {}  # the step measures something else than the table means
        if convert(reading.value, reading.unit, code) < source.none_below.to(code):
            return {"none": 1.0}
    if limit is None:
        return {}
    return sides(reading.value, reading.u, limit.at_least, limit.at_most)


def words_of(result: StepResult) -> str:
    """The reading, or the answer, as the record shows it."""
    if result.reading is not None:
        return result.reading.shown
    return result.answer or (result.reason if result.verdict is Verdict.STOPPED else None) or str(result.verdict)
