"""Rules about names: each is there, each means one thing, and steps refer to what has been before them."""

from __future__ import annotations

from collections.abc import Iterator

from rig.errors import Fault
from rig.plan.edges import InputEdge, QuantityEdge, StartByPerson
from rig.plan.load import Loc
from rig.plan.procedure import Ask, Conditional, Measure, Record, Time, Waveform, When
from rig.plan.spoken import facts_named
from rig.plan.view import Placed, View, named_outputs, unknown


def names_are_unique(view: View) -> Iterator[Fault]:
    """A step's name stands for one step in the whole procedure, a stage's for one stage."""
    for placed in view.steps:
        first = view.by_name[placed.step.step]
        if first is not placed:
            line, _ = view.procedure_file.where((*first.loc, "step"))
            yield view.fault(placed, ("step",), f"the name '{placed.step.step}' is taken by the step on line {line}")
    seen: dict[str, int] = {}
    for number, stage in view.stages():
        first_stage = seen.setdefault(stage.stage, number)
        if first_stage != number:
            line, _ = view.procedure_file.where(("stages", first_stage, "stage"))
            message = f"the name '{stage.stage}' is taken by the stage on line {line}"
            yield view.procedure_file.fault(("stages", number, "stage"), message)


def references_are_earlier(view: View) -> Iterator[Fault]:
    """needs, after and when name steps that come before."""
    for placed in view.steps:
        step = placed.step
        named: list[tuple[Loc, str]] = [(("needs", i), name) for i, name in enumerate(step.needs)]
        named += [(("after", i), name) for i, name in enumerate(step.after)]
        named += _conditions(step)
        for tail, name in named:
            if not view.precedes(name, placed) and name not in view.not_for_it:
                yield view.fault(placed, tail, _not_earlier(view, name, view.earlier(placed)))
    for number, stage in view.stages():
        named = [((key, i), name) for key in ("needs", "after") for i, name in enumerate(getattr(stage, key))]
        for tail, name in [*named, *_conditions(stage)]:
            found = view.by_name.get(name)
            if (found is None or found.stage >= number) and name not in view.not_for_it:
                earlier = [n for n, p in view.by_name.items() if p.stage < number]
                message = _not_earlier(view, name, earlier)
                yield view.procedure_file.fault(("stages", number, *tail), message)


def _conditions(of: Conditional) -> list[tuple[Loc, str]]:
    """The steps that ``when`` names, each with its place."""
    if isinstance(of.when, When):
        return [(("when", "step"), of.when.step)]
    return [(("when", i, "step"), when.step) for i, when in enumerate(of.conditions)]


def _not_earlier(view: View, name: str, earlier: list[str]) -> str:
    if name in view.by_name:
        return f"'{name}' is not an earlier step; only what has been before can be asked for"
    return unknown("earlier step", name, earlier)


def as_found_exists(view: View) -> Iterator[Fault]:
    """as-found names a time step that is done once."""
    name = view.procedure.as_found
    if name is None:
        return
    placed = view.by_name.get(name)
    times = [p.step.step for p in view.steps if isinstance(p.step, Time) and p.within is None]
    if placed is None:
        yield view.procedure_file.fault(("as-found",), unknown("time step", name, times))
    elif name not in times:
        message = f"'{name}' is not a time step that is done once; as-found reproduces a timed complaint"
        yield view.procedure_file.fault(("as-found",), message)


def outputs_exist(view: View) -> Iterator[Fault]:
    """Every output that a step names is on the bench."""
    for placed in view.steps:
        for output, tail in named_outputs(placed.step):
            if output not in view.bench.outputs:
                yield view.fault(placed, tail, unknown("output", output, view.bench.outputs))


def edges_exist(view: View) -> Iterator[Fault]:
    """The inputs and quantities of edges are on the bench, and an input has that word among its two."""
    for placed in view.steps:
        if not isinstance(placed.step, Time):
            continue
        for key, edge in (("from", placed.step.time.from_), ("until", placed.step.time.until)):
            if isinstance(edge, QuantityEdge) and edge.quantity not in view.bench.quantities:
                message = unknown("quantity", edge.quantity, view.bench.quantities)
                yield view.fault(placed, ("time", key, "quantity"), message)
            if isinstance(edge, InputEdge):
                yield from _input_edge(view, placed, key, edge)


def _input_edge(view: View, placed: Placed, key: str, edge: InputEdge) -> Iterator[Fault]:
    spec = view.bench.inputs.get(edge.input)
    if spec is None:
        yield view.fault(placed, ("time", key, "input"), unknown("input", edge.input, view.bench.inputs))
    elif edge.is_ not in (spec.open, spec.closed):
        message = f"{edge.input} is {spec.open} or {spec.closed}, found '{edge.is_}'"
        yield view.fault(placed, ("time", key, "is"), message)


def places_exist(view: View) -> Iterator[Fault]:
    """Where a step measures and what it records is on the bench."""
    points, quantities, inputs = view.bench.test_points, view.bench.quantities, view.bench.inputs
    for placed in view.steps:
        step = placed.step
        if isinstance(step, Measure) and step.at not in points and step.at not in quantities:
            message = unknown("test point or quantity", step.at, [*points, *quantities])
            yield view.fault(placed, ("at",), message)
        if isinstance(step, Waveform) and step.waveform not in points:
            yield view.fault(placed, ("waveform",), unknown("test point", step.waveform, points))
        if isinstance(step, Record):
            for index, name in enumerate(step.record):
                if name not in quantities and name not in inputs:
                    message = unknown("quantity or input", name, [*quantities, *inputs])
                    yield view.fault(placed, ("record", index), message)


def hand_instruments_exist(view: View) -> Iterator[Fault]:
    """What a person is to read a number with is on the bench's list, where the bench has one."""
    listed = view.bench.hand_instruments
    for placed in view.steps:
        step = placed.step
        if listed and isinstance(step, Ask) and step.with_ is not None and step.with_ not in listed:
            yield view.fault(placed, ("with",), unknown("hand instrument", step.with_, listed))


def questions_know_the_unit(view: View) -> Iterator[Fault]:
    """A fact that a question names is one of the unit's."""
    for placed in view.steps:
        step = placed.step
        start = step.start if isinstance(step, Time) else None
        asked = step if isinstance(step, Ask) else start if isinstance(start, StartByPerson) else None
        for path in facts_named(asked.ask) if asked is not None else ():
            tail: Loc = ("ask",) if asked is step else ("start", "ask")
            if view.profile is None:
                yield view.fault(placed, tail, f"'{path}' needs a unit profile, and this procedure has none")
                continue
            known = [f"{group}.{name}" for group, facts in view.profile.facts.items() for name in facts]
            if path not in known:
                message = unknown(f"fact of profile {view.profile.unit_profile}", path, known)
                yield view.fault(placed, tail, message)


RULES = (
    questions_know_the_unit,
    names_are_unique,
    references_are_earlier,
    as_found_exists,
    outputs_exist,
    edges_exist,
    places_exist,
    hand_instruments_exist,
)
