"""Rules about what is looked up and computed: facts of the profile, waits and periods, formulas."""

from __future__ import annotations

from collections.abc import Iterator

from rig.errors import Fault
from rig.plan.dimensions import shown
from rig.plan.formula import parse, split_hint
from rig.plan.formula_words import FormulaError
from rig.plan.procedure import Compute, Measure, Record, Time, Waveform
from rig.plan.values import DAY, ProfileRef
from rig.plan.view import Placed, View, unknown
from rig.quantities import UNITS, Dimension, Quantity, unit

SHORTEST_POLL = 0.02  # s; below this the wire itself is slower than the question (common practice, no source)
MOST_POINTS = 1_000_000  # of one waveform; more would fill the memory before it told anything
_DIMENSIONS: dict[str, Dimension] = {u.quantity: u.dimension for u in UNITS}


def times_fit(view: View) -> Iterator[Fault]:
    """Times from the profile are there and are times; polling is not faster than the wire; records end."""
    for placed in view.steps:
        step = placed.step
        if isinstance(step, Time) and isinstance(step.time.give_up, ProfileRef):
            yield from _profile_time(view, placed, step.time.give_up, ("time", "give-up"))
        if isinstance(step, Record) and isinstance(step.for_, ProfileRef):
            yield from _profile_time(view, placed, step.for_, ("for",))
        if isinstance(step, (Time, Record)) and step.every.to("s") < SHORTEST_POLL:
            message = f"asking every {step.every} is faster than the wire; expected 20 ms or more"
            yield view.fault(placed, ("every",), message)
        if isinstance(step, Record) and step.for_ is None and not _meanwhile(placed):
            yield view.fault(placed, (), "a record needs 'for', unless it runs under 'meanwhile' of a time step")
        if isinstance(step, Waveform) and not 10 <= step.for_.to("s") / step.interval.to("s") <= MOST_POINTS:
            message = f"{step.for_} at an interval of {step.interval} is not between 10 and {MOST_POINTS} points"
            yield view.fault(placed, ("interval",), message)


def _meanwhile(placed: Placed) -> bool:
    return placed.within is not None and isinstance(placed.within.step, Time)


def _profile_time(view: View, placed: Placed, ref: ProfileRef, tail: tuple[str, ...]) -> Iterator[Fault]:
    found, message = _fact(view, ref.path)
    if message is None and found is not None:
        if unit(found.unit).quantity != "time":
            message = f"{ref} is {found}, expected a time"
        elif not 0 < found.to("s") <= DAY:
            message = f"{ref} is {found}, expected a time above 0 and up to 24 h"
    if message is not None:
        yield view.fault(placed, tail, message)


def _fact(view: View, path: str) -> tuple[Quantity | None, str | None]:
    """A quantity of the profile, or why there is none."""
    if view.profile is None:
        return None, f"'{path}' needs a unit profile, and this procedure has none"
    try:
        found = view.profile.fact(path)
    except KeyError:
        known = [f"{group}.{name}" for group, facts in view.profile.facts.items() for name in facts]
        return None, unknown(f"fact of profile {view.profile.unit_profile}", path, known)
    if isinstance(found, str):
        return None, f"'{path}' is the words '{found[:40]}' in the profile, expected a quantity"
    return found, None


def formulas_fit(view: View) -> Iterator[Fault]:
    """A formula can be read, its names are earlier readings or facts, and it comes out in the unit that is said."""
    for placed in view.steps:
        step = placed.step
        if not isinstance(step, Compute):
            continue
        try:
            formula = parse(step.compute)
        except FormulaError as error:
            yield view.fault(placed, ("compute",), f"at character {error.column} of the formula: {error}")
            continue
        dimensions: dict[str, Dimension] = {}
        facts: dict[str, float] = {}
        faults = []
        for name in formula.names:
            dimension, message = _name(view, placed, name)
            fact = _fact(view, name)[0] if "." in name else None
            if fact is not None:
                facts[name] = fact.si
            if dimension is not None:
                dimensions[name] = dimension
            if message is not None:
                faults.append(view.fault(placed, ("compute",), message))
        yield from faults
        if faults or len(dimensions) < len(formula.names):
            continue
        try:
            found = formula.dimension(dimensions)
            formula.check(facts)
        except FormulaError as error:
            yield view.fault(placed, ("compute",), f"at character {error.column} of the formula: {error}")
            continue
        if found != unit(step.in_).dimension:
            message = f"the formula gives {shown(found)}, which cannot be given in {step.in_}"
            yield view.fault(placed, ("in",), message)


def _name(view: View, placed: Placed, name: str) -> tuple[Dimension | None, str | None]:
    if "." in name:
        fact, message = _fact(view, name)
        return (None if fact is None else unit(fact.unit).dimension), message
    if view.precedes(name, placed):
        step = view.by_name[name].step
        quantity = view.reading(step)
        if quantity is not None:
            return _DIMENSIONS[quantity], None
        # A place that does not fit is said by another rule.
        pending = isinstance(step, (Measure, Record, Waveform))
        return None, None if pending else f"the step '{name}' has no reading to compute with"
    if name in view.by_name:
        return None, f"'{name}' is not an earlier step; only what has been before can be computed with"
    if name in view.not_for_it:
        return None, f"'{name}' is for other units only; this step needs the same for-units"
    readings = [n for n in view.earlier(placed) if view.reading(view.by_name[n].step) is not None]
    hint = split_hint(name, set(readings))
    return None, f"no earlier reading is called '{name}'{hint}" if hint else unknown("earlier reading", name, readings)


RULES = (times_fit, formulas_fit)
