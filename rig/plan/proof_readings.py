"""Rules about readings: what is measured can be measured there, and units, ranges, limits and formulas fit."""

from __future__ import annotations

from collections.abc import Iterator

from rig.errors import Fault
from rig.plan.formula import FormulaError, parse, shown, split_hint
from rig.plan.procedure import Ask, Compute, Judged, Measure, NumberAnswer, QuantityEdge, Record, Time, Waveform
from rig.plan.values import DAY, LimitRef, LimitText, ProfileRef
from rig.plan.view import FUNCTION_QUANTITY, Placed, View, unknown
from rig.plan.wiring import QuantitySpec
from rig.quantities import UNITS, Dimension, Quantity, unit

RESISTANCES = frozenset({"resistance", "resistance four-wire", "continuity"})
THROUGH_SHUNT = {"DC amps": "DC volts", "AC amps": "AC volts"}
SHORTEST_POLL = 0.02  # s; below this the wire itself is slower than the question (common practice, no source)
MOST_POINTS = 1_000_000  # of one record or waveform; more would fill the memory before it told anything
_DIMENSIONS: dict[str, Dimension] = {u.quantity: u.dimension for u in UNITS}


def functions_fit(view: View) -> Iterator[Fault]:
    """A test point or quantity measures what is asked of it."""
    for placed in view.steps:
        step = placed.step
        if isinstance(step, Measure):
            offers = view.offers(step.at)
            if offers and step.measure not in offers:
                message = f"{step.at} measures {', '.join(offers)}, not {step.measure}"
                yield view.fault(placed, ("measure",), message)
        if isinstance(step, Waveform):
            offers = view.offers(step.waveform) if step.waveform in view.bench.test_points else ()
            if offers and not {"DC volts", "DC amps"} & {*offers}:
                message = f"a waveform is of DC volts or DC amps; {step.waveform} measures {', '.join(offers)}"
                yield view.fault(placed, ("waveform",), message)


def ranges_fit(view: View) -> Iterator[Fault]:
    """A range is of the function's kind, and only where there is a meter to set it."""
    for placed in view.steps:
        step = placed.step
        if not isinstance(step, Measure):
            continue
        if step.over_range == "open circuit" and step.measure not in RESISTANCES:
            message = f"only a resistance beyond the range is an open circuit; this step measures {step.measure}"
            yield view.fault(placed, ("over-range",), message)
        if step.range is None:
            continue
        kind, wanted = unit(step.range.unit).quantity, FUNCTION_QUANTITY[step.measure]
        if step.at in view.bench.quantities:
            message = f"{step.at} is wired to its own channel and has no range to set; take the key out"
            yield view.fault(placed, ("range",), message)
        elif kind != wanted:
            message = f"a range for {step.measure} is a {wanted} such as {_example(wanted)}, found {step.range}"
            yield view.fault(placed, ("range",), message)
        elif step.range.value <= 0:
            yield view.fault(placed, ("range",), f"a range is above 0, found {step.range}")


def accuracy_is_stated(view: View) -> Iterator[Fault]:
    """A meter with an accuracy statement states it for the function and a range as wide as the one asked for."""
    for placed in view.steps:
        step = placed.step
        point = view.bench.test_points.get(step.at) if isinstance(step, Measure) else None
        if not isinstance(step, Measure) or point is None or step.measure not in point.measures:
            continue
        if point.meter not in view.bench.instruments:
            continue
        asked = THROUGH_SHUNT.get(step.measure, step.measure) if point.shunt else step.measure
        statement = view.bench.instruments[point.meter].accuracy
        lines = [line for line in statement if line.function == asked]
        if statement and not lines:
            message = f"the accuracy statement of {point.meter} has no line for {asked}, so nothing could be judged"
            yield view.fault(placed, ("measure",), message)
        elif lines and step.range is not None and unit(step.range.unit).quantity == FUNCTION_QUANTITY[step.measure]:
            asked_si = step.range.si * (point.shunt.si if point.shunt and asked != step.measure else 1.0)
            widest = max(lines, key=lambda line: line.range.si)
            if asked_si > widest.range.si * (1 + 1e-9):
                message = f"the accuracy statement of {point.meter} for {asked} ends at {widest.range}"
                yield view.fault(placed, ("range",), message)


def limits_fit(view: View) -> Iterator[Fault]:
    """A limit exists, is of the reading's kind, and lies where the range or the channel can show it."""
    for placed in view.steps:
        step = placed.step
        if isinstance(step, (Judged, Ask)) and step.limit is not None:
            yield from _limit(view, placed, step.limit)


def _limit(view: View, placed: Placed, written: LimitText | LimitRef) -> Iterator[Fault]:
    tail: tuple[str, ...] = ("limit",)
    limit, of = written, "the limit"
    if isinstance(limit, LimitRef):
        tail, of = ("limit", "profile"), f"the profile's limit '{limit.profile}'"
        if view.profile is None:
            yield view.fault(placed, tail, f"{of} needs a unit profile, and this procedure has none")
            return
        found = view.profile.limits.get(limit.profile)
        if found is None:
            message = unknown(f"limit of profile {view.profile.unit_profile}", limit.profile, view.profile.limits)
            yield view.fault(placed, tail, message)
            return
        limit = found
    reading, kind = view.reading(placed.step), unit(limit.unit).quantity
    if reading is None:
        return  # said by another rule
    if kind != reading:
        message = f"{of} is in {limit.unit} ({kind}), but the reading is a {reading} such as {_example(reading)}"
        yield view.fault(placed, tail, message)
        return
    span = _span(view, placed)
    if span is None:
        return
    low, high, what = span
    for end in limit.ends():
        if end is not None and not low <= end <= high:
            shown_end = Quantity(end, _canonical(kind))
            yield view.fault(placed, tail, f"{of} reaches {shown_end}, which lies beyond {what}")


def _span(view: View, placed: Placed) -> tuple[float, float, str] | None:
    """What a reading can be at all, in its canonical unit: the meter's range, or the wired channel's ends."""
    step = placed.step
    if isinstance(step, Measure) and step.range is not None:
        if unit(step.range.unit).quantity != FUNCTION_QUANTITY[step.measure] or step.range.value <= 0:
            return None  # said by another rule
        most = step.range.canonical().value
        return -most, most, f"the range {step.range}"
    name = step.at if isinstance(step, Measure) else step.judged if isinstance(step, Record) else ""
    spec = view.bench.quantities.get(name)
    if spec is None or (isinstance(step, Record) and step.figure == "slope"):
        return None
    return _channel_span(name, spec)


def _channel_span(name: str, spec: QuantitySpec) -> tuple[float, float, str]:
    low, high = sorted(m.canonical().value for m in spec.means)
    return low, high, f"what {name} can show, {spec.means[0]} to {spec.means[1]}"


def edges_fit(view: View) -> Iterator[Fault]:
    """The value that a quantity's edge waits for is of its kind and within what its channel can show."""
    for placed in view.steps:
        if not isinstance(placed.step, Time):
            continue
        for key, edge in (("from", placed.step.time.from_), ("until", placed.step.time.until)):
            spec = view.bench.quantities.get(edge.quantity) if isinstance(edge, QuantityEdge) else None
            if not isinstance(edge, QuantityEdge) or spec is None:
                continue
            word = "reaches" if edge.reaches is not None else "falls-to"
            value = edge.reaches or edge.falls_to
            kind = FUNCTION_QUANTITY[spec.measures]
            if value is None or unit(value.unit).quantity != kind:
                message = f"{edge.quantity} is a {kind}, expected a value such as {_example(kind)}, found {value}"
                yield view.fault(placed, ("time", key, word), message)
                continue
            low, high, what = _channel_span(edge.quantity, spec)
            if not low <= value.canonical().value <= high:
                yield view.fault(placed, ("time", key, word), f"{value} lies beyond {what}")


def slopes_have_a_unit(view: View) -> Iterator[Fault]:
    """A slope is of a mass, a temperature or a pressure: other rates have no unit here."""
    for placed in view.steps:
        step = placed.step
        spec = view.bench.quantities.get(step.judged) if isinstance(step, Record) else None
        if isinstance(step, Record) and spec is not None and step.figure == "slope" and view.reading(step) is None:
            message = f"there is no unit for the slope of a {FUNCTION_QUANTITY[spec.measures]}"
            yield view.fault(placed, ("judge",), message)


def uncertainties_fit(view: View) -> Iterator[Fault]:
    """The uncertainty that is stated for a person's reading is of the reading's kind, and above 0."""
    for placed in view.steps:
        step = placed.step
        if not isinstance(step, Ask) or step.standard_uncertainty is None or not isinstance(step.answer, NumberAnswer):
            continue
        wanted = "K" if step.answer.number_in == "Cel" else step.answer.number_in
        stated = step.standard_uncertainty
        if unit(stated.unit).quantity != unit(wanted).quantity or stated.value <= 0:
            message = f"expected an uncertainty above 0 in {wanted}, found {stated}"
            yield view.fault(placed, ("standard-uncertainty",), message)


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
        faults = []
        for name in formula.names:
            dimension, message = _name(view, placed, name)
            if dimension is not None:
                dimensions[name] = dimension
            if message is not None:
                faults.append(view.fault(placed, ("compute",), message))
        yield from faults
        if faults or len(dimensions) < len(formula.names):
            continue
        try:
            found = formula.dimension(dimensions)
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
    readings = [n for n in view.earlier(placed) if view.reading(view.by_name[n].step) is not None]
    hint = split_hint(name, set(readings))
    return None, f"no earlier reading is called '{name}'{hint}" if hint else unknown("earlier reading", name, readings)


def _canonical(quantity: str) -> str:
    return next(u.code for u in UNITS if u.quantity == quantity)


def _example(quantity: str) -> str:
    return f"'10 {_canonical(quantity)}'"


RULES = (
    functions_fit,
    ranges_fit,
    accuracy_is_stated,
    limits_fit,
    edges_fit,
    slopes_have_a_unit,
    uncertainties_fit,
    times_fit,
    formulas_fit,
)
