"""What can be proved of a table of causes by itself: names exist, outcomes are told, steps are there to be read."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from functools import lru_cache

from rig.errors import Fault
from rig.plan.causes import CauseTable, FromStep, Observation, Row
from rig.plan.load import Loaded, Loc, bundled, descend, load_named
from rig.plan.messages import listed, nearest
from rig.plan.procedure import Ask, Procedure, Repeat, Time

KEY = "[key]"  # the last part of a place that means the key and not its value
LEAST_LEFT = 0.5  # of the bench's and the field's chances together: a table that sums to less lost its rows


def prove_causes(loaded: Loaded) -> list[Fault]:
    """The faults of a table that was read; steps are looked for in the bundled procedures."""
    assert isinstance(loaded.model, CauseTable)
    return sorted({_placed(loaded, loc, message) for loc, message in _faults(loaded.model)})


def _placed(loaded: Loaded, loc: Loc, message: str) -> Fault:
    if loc[-1] != KEY:
        return loaded.fault(loc, message)
    _, entry = descend(loaded.tree, loc[:-1])
    assert entry is not None
    return Fault(loaded.file, entry.line, entry.column, message)


def _faults(table: CauseTable) -> Iterator[tuple[Loc, str]]:
    yield from _chances(table)
    for name, cause in table.causes.items():
        here = ("causes", name)
        yield from _known((*here, "remedy"), "remedy", [cause.remedy], table.remedies)
        for n, other in enumerate(cause.variants):
            yield from _known((*here, "variants", n, "remedy"), "remedy", [other.remedy], table.remedies)
    for name, remedy in table.remedies.items():
        yield from _known(("remedies", name, "opens"), "set-up", remedy.opens, table.set_ups)
        yield from _known(("remedies", name, "repeat"), "observation", remedy.repeat, table.observations)
    for name, seen in table.observations.items():
        yield from _observation(("observations", name), seen, table)


def _chances(table: CauseTable) -> Iterator[tuple[Loc, str]]:
    for place in ("field", "bench"):
        total = sum(c.start.at(place) for c in table.causes.values()) + table.none_of_these.at(place)
        if not LEAST_LEFT <= total <= 1.2:
            message = f"the {place} chances of all causes and none-of-these make {total:.3g}, expected about 1"
            yield ("causes",), message
        if table.none_of_these.at(place) <= 0:
            yield ("none-of-these", place), "some share must be left for what the table does not know, found 0"
        if table.two_causes.at(place) >= 1:
            yield ("two-causes", place), "not every unit has two causes; expected less than 1"


def _observation(here: tuple[str | int, ...], seen: Observation, table: CauseTable) -> Iterator[tuple[Loc, str]]:
    yield from _known((*here, "set-ups"), "set-up", seen.set_ups, table.set_ups)
    yield from _rows((*here, "given"), seen.given, seen, table)
    for n, variant in enumerate(seen.variants):
        yield from _rows((*here, "variants", n, "given"), variant.given, seen, table)
    for key, row in (("healthy", seen.healthy), ("otherwise", seen.otherwise)):
        if row is not None:
            yield from _told((*here, key), row, seen)
    if seen.healthy.of("normal") <= 0:
        yield (*here, "healthy"), "a unit without a fault must be able to come out normal"
    for n, source in enumerate(seen.from_):
        at = (*here, "from", n)
        yield from _step(at, source)
        told = [
            *source.read_as.values(),
            *source.stopped_by.values(),
            *([source.without_reading] if source.without_reading else []),
            *(o for some in source.answers.values() for o in some),
        ]
        for outcome in dict.fromkeys(told):
            if outcome not in seen.tells:
                yield at, f"the outcome {outcome} is not among those that 'tells' has: {listed(seen.outcomes)}"


def _rows(loc: Loc, rows: Mapping[str, Row], seen: Observation, table: CauseTable) -> Iterator[tuple[Loc, str]]:
    yield from _known(loc, "cause", rows, table.causes, keys=True)
    for name, row in rows.items():
        yield from _told((*loc, name), row, seen)


def _told(loc: Loc, row: Row, seen: Observation) -> Iterator[tuple[Loc, str]]:
    for outcome in ("low", "high", "none", "intermittent"):
        if getattr(row, outcome) > 0 and outcome not in seen.tells:
            yield (*loc, outcome), f"'{outcome}' is not among the outcomes that 'tells' has: {listed(seen.outcomes)}"


def _known(
    loc: Loc, what: str, words: Iterable[str], known: Iterable[str], keys: bool = False
) -> Iterator[tuple[Loc, str]]:
    names = list(known)
    for n, word in enumerate(words):
        if word not in names:
            at = (*loc, word, KEY) if keys else loc if loc[-1] == "remedy" else (*loc, n)
            yield at, f"no {what} is called '{word}' here{nearest(word, names)}; known: {listed(names, 8)}"


def _step(loc: Loc, source: FromStep) -> Iterator[tuple[Loc, str]]:
    procedures = bundled("procedure")
    if source.procedure not in procedures:
        near = nearest(source.procedure, procedures)
        yield (*loc, "procedure"), f"no procedure is called '{source.procedure}'{near}; known: {listed(procedures)}"
        return
    steps = _steps_of(source.procedure)
    if source.step not in steps:
        message = f"procedure {source.procedure} has no step '{source.step}'{nearest(source.step, steps)}"
        yield (*loc, "step"), message
        return
    answers = source.answers
    asked = steps[source.step]
    if answers and not isinstance(asked, Ask):
        yield (*loc, "answers"), f"step {source.step} asks nobody, so it has no answers"
    elif answers and isinstance(asked, Ask) and asked.answer == "yes or no":
        for word in answers:
            if word not in ("yes", "no"):
                yield (*loc, "answers", word), f"step {source.step} is answered yes or no, found '{word}'"


@lru_cache(maxsize=16)
def _steps_of(name: str) -> Mapping[str, object]:
    """The steps of a bundled procedure; those do not change while the program runs."""
    model = load_named("procedure", name).model
    assert isinstance(model, Procedure)
    return dict(_steps(model))


def _steps(procedure: Procedure) -> Iterator[tuple[str, object]]:
    for stage in procedure.stages:
        for step in stage.all_steps():
            yield step.step, step
            inside = step.repeat.steps if isinstance(step, Repeat) else step.meanwhile if isinstance(step, Time) else ()
            for one in inside:
                yield one.step, one
