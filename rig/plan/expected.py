"""How uncertain a reading will be, as far as that is known before the run: the lines of its budget from what the bench
file states, at a value that its limit names. Scatter and noise are known afterwards only, and add to it."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import date
from itertools import pairwise

from rig.plan.answers import NumberAnswer
from rig.plan.channels import QuantitySpec
from rig.plan.edges import InputEdge, OutputEdge, QuantityEdge
from rig.plan.formula import CONSTANTS, Formula, parse
from rig.plan.formula_words import FormulaError
from rig.plan.hand_instruments import HAND
from rig.plan.plan_limits import looked_up
from rig.plan.procedure import CONTACT_FIGURES, Ask, Compute, Judged, Measure, Record, Time, Waveform
from rig.plan.stated import narrowest_statement, stated_quantity
from rig.plan.values import LimitText, ProfileRef
from rig.plan.view import FUNCTION_QUANTITY, Placed, View
from rig.plan.wiring import InputSpec, OutputSpec, TestPoint
from rig.quantities import Quantity, canonical, convert, unit
from rig.uncertainty import Line, line, total

CLOCK = 1e-4  # share of a time
WAVEFORM_RANGE = 3.0  # A, the range that a coil's record is taken on
LEAK_WATCH = 600.0  # s
DECADES = range(-9, 10)  # of SI units, in which the one unknown of a formula is looked for


class NotKnown(Exception):
    """Why the uncertainty cannot be known before the run, for people."""


def lines_at(view: View, placed: Placed, value: float) -> list[Line]:
    """The lines of a step's reading of ``value`` (canonical unit). Raises NotKnown."""
    step = placed.step
    if isinstance(step, Measure):
        return _measured(view, step, value)
    if isinstance(step, Time):
        return _timed(view, step, value)
    if isinstance(step, Record):
        return _recorded(view, step, value)
    if isinstance(step, Waveform):
        return _waveform(view, step, value)
    if isinstance(step, Compute):
        return _computed(view, placed, step, value)
    if isinstance(step, Ask) and isinstance(step.answer, NumberAnswer):
        return _typed(step, step.answer.number_in)
    raise NotKnown("it has no reading")


def _typed(step: Ask, code: str) -> list[Line]:
    stated = step.standard_uncertainty
    if stated is None:
        raise NotKnown("a person reads it, and the last digit that is typed is its uncertainty")
    wanted = "K" if canonical(code) == "Cel" else canonical(code)
    if unit(stated.unit).quantity != unit(wanted).quantity:
        raise NotKnown("said by another rule")
    return [Line("stated by the procedure", convert(stated.value, stated.unit, wanted))]


def _measured(view: View, step: Measure, value: float) -> list[Line]:
    point = view.bench.test_points.get(step.at)
    if step.at in view.bench.quantities:
        statement = stated_quantity(view.bench, step.at)
        if view.bench.by_hand(view.bench.quantities[step.at].instrument) and statement.drift is None:
            return [line("by hand", statement.half_width(value))]  # each time anew, as far as the program knows
        return list(statement.lines(value))
    if point is None:
        raise NotKnown("said by another rule")
    if step.range is None or unit(step.range.unit).quantity != FUNCTION_QUANTITY[step.measure]:
        raise NotKnown("the meter chooses its range by itself")
    return _by_the_meter(view, point, step.measure, step.range.canonical().value, value)


def _by_the_meter(view: View, point: TestPoint, function: str, full_scale: float, value: float) -> list[Line]:
    """What a meter states, through a shunt where there is one."""
    shunt = point.shunt.si if point.shunt is not None and function in ("DC amps", "AC amps") else None
    asked = function if shunt is None else function.replace("amps", "volts")
    statement = narrowest_statement(view.bench, point.meter, asked, full_scale * (shunt or 1.0), date.today())
    if statement is None:
        raise NotKnown(f"{point.meter} states no accuracy that holds for {asked} on that range")
    lines = [each.scaled(1.0 / (shunt or 1.0)) for each in statement.lines(value * (shunt or 1.0))]
    if shunt is not None and point.shunt_accuracy is not None:
        lines.append(line("shunt", point.shunt_accuracy.to("1") * abs(value)))
    return lines


def _timed(view: View, step: Time, value: float) -> list[Line]:
    """An edge lies between two looks, which are one period apart or a little more; or a hand is at a stop-watch."""
    half = HAND if any(_by_hand(view, edge) for edge in (step.time.from_, step.time.until)) else step.every.to("s") / 2
    lines = [line("start edge", half), line("end edge", half), line("clock", CLOCK * value)]
    first, last = step.time.from_, step.time.until
    if isinstance(first, QuantityEdge) and isinstance(last, QuantityEdge) and first.quantity == last.quantity:
        ends = [e.reaches or e.falls_to for e in (first, last)]
        if first.quantity in view.bench.quantities and ends[0] is not None and ends[1] is not None:
            code = canonical(ends[0].unit)
            span = abs(ends[1].to(code) - ends[0].to(code))
            error, _ = total(stated_quantity(view.bench, first.quantity).lines(0.0))
            if span > 0:
                lines.append(Line("sensor", error * 2**0.5, sensitivity=value / span))
    return lines


def _by_hand(view: View, edge: InputEdge | OutputEdge | QuantityEdge) -> bool:
    if isinstance(edge, InputEdge):
        spec: InputSpec | OutputSpec | QuantitySpec | None = view.bench.inputs.get(edge.input)
    elif isinstance(edge, OutputEdge):
        spec = view.bench.outputs.get(edge.output)
    else:
        spec = view.bench.quantities.get(edge.quantity)
    return spec is not None and view.bench.by_hand(spec.instrument)


def _recorded(view: View, step: Record, value: float) -> list[Line]:
    """The figures of a trace, without the scatter of its points."""
    if step.figure in CONTACT_FIGURES:
        return [line("edges", step.every.to("s") / 2.0 * math.sqrt(2.0)), line("clock", CLOCK * value)]
    if step.judged not in view.bench.quantities:
        raise NotKnown("said by another rule")
    statement = stated_quantity(view.bench, step.judged)
    if step.figure in ("slope", "leak"):
        seconds = LEAK_WATCH if step.figure == "leak" else _seconds(view, step)
        return [statement.slope_line(seconds)]
    if step.figure == "onset":
        return [line("period", step.every.to("s") / 2.0)]
    if step.figure == "overshoot":
        return [each for each in statement.lines(value) if each.name == "resolution"]
    if step.figure == "lethality":
        raise NotKnown("it hangs on the course of the trace")
    return list(statement.lines(value))


def _seconds(view: View, step: Record) -> float:
    found: Quantity | str | None = None
    if isinstance(step.for_, ProfileRef):
        try:
            found = None if view.profile is None else view.profile.fact(step.for_.path)
        except KeyError:
            found = None
    else:
        found = step.for_
    if not isinstance(found, Quantity) or unit(found.unit).quantity != "time" or found.value <= 0:
        raise NotKnown("it is recorded for as long as the timing beside it takes")
    return found.to("s")


def _waveform(view: View, step: Waveform, value: float) -> list[Line]:
    """The figures of a coil's record, without its noise."""
    point = view.bench.test_points.get(step.waveform)
    if step.judge in ("inrush to holding", "inductance growth") or point is None:
        raise NotKnown("it hangs on the noise of the record")
    if step.judge == "time constant":
        return [line("sampling", step.interval.to("s") / 2.0)]
    function = "DC amps" if point.shunt is not None else "DC volts"
    lines = _by_the_meter(view, point, function, WAVEFORM_RANGE, value)
    return lines if step.judge != "dip" else [*lines, *_by_the_meter(view, point, function, WAVEFORM_RANGE, 0.0)]


def _computed(view: View, placed: Placed, step: Compute, value: float) -> list[Line]:
    """Propagated from the readings that the formula takes, each at the middle of its own limit; the one without a limit
    is where it makes the formula give ``value``."""
    try:
        formula = parse(step.compute)
    except FormulaError:
        raise NotKnown("said by another rule") from None
    code = canonical(step.in_)
    known = {name: _fact(view, name) for name in formula.names if "." in name}
    readings = [name for name in formula.names if "." not in name]
    middles = {name: _middle(view, name) for name in readings}
    unknown = [name for name, middle in middles.items() if middle is None]
    values = {**known, **{name: middle for name, middle in middles.items() if middle is not None}}
    if len(unknown) > 1:
        raise NotKnown(f"{' and '.join(unknown)} have no limits from which their values could be taken")
    if unknown:
        values[unknown[0]] = _solved(formula, values, unknown[0], _si(value, code))
    lines: list[Line] = []
    for name in readings:
        earlier = view.by_name.get(name)
        if earlier is None or earlier.order >= placed.order:
            raise NotKnown("said by another rule")
        of = unit(_code(view, earlier)).factor
        own = lines_at(view, earlier, _from_si(values[name], _code(view, earlier)))
        own = [each if each.origin else replace(each, origin=f"{name} {n}") for n, each in enumerate(own)]
        u = total(own)[0]
        if u > 0:
            up, down = ({**values, name: values[name] + sign * u * of} for sign in (1, -1))
            sensitivity = (_from_si(_at(formula, up), code) - _from_si(_at(formula, down), code)) / (2.0 * u)
            lines += [each.scaled(sensitivity) for each in own]
    return lines


def _at(formula: Formula, values: dict[str, float]) -> float:
    try:
        return formula.si(values)
    except (FormulaError, OverflowError):
        raise NotKnown("the formula has no value at the middle of its readings' limits") from None


def _fact(view: View, path: str) -> float:
    if path in CONSTANTS:
        return CONSTANTS[path].si
    try:
        found = None if view.profile is None else view.profile.fact(path)
    except KeyError:
        found = None
    if not isinstance(found, Quantity):
        raise NotKnown("said by another rule")
    return found.si


def _code(view: View, placed: Placed) -> str:
    quantity = view.reading(placed.step)
    limit = written_limit(view, placed)
    if limit is not None:
        return canonical(limit.unit)
    if isinstance(placed.step, Compute):
        return canonical(placed.step.in_)
    if isinstance(placed.step, Ask) and isinstance(placed.step.answer, NumberAnswer):
        return canonical(placed.step.answer.number_in)
    found = {"time": "s", "voltage": "V", "current": "A", "resistance": "Ohm", "temperature": "Cel", "pressure": "Pa",
             "mass": "g", "power": "W", "frequency": "Hz"}.get(quantity or "")  # fmt: skip
    if found is None:
        raise NotKnown("the unit of one of its readings is not known before the run")
    return found


def _middle(view: View, name: str) -> float | None:
    """The middle of a reading's own limit in SI, its one end where it has one; None without a limit."""
    placed = view.by_name.get(name)
    limit = None if placed is None else written_limit(view, placed)
    if limit is None:
        return None
    ends = [end for end in limit.ends() if end is not None]
    return _si(sum(ends) / len(ends), canonical(limit.unit))


def written_limit(view: View, placed: Placed) -> LimitText | None:
    """The limit of a step as written, in the procedure, in the profile or in the bench file."""
    step = placed.step
    return looked_up(step.limit, view.profile, view.bench) if isinstance(step, (Judged, Ask)) else None


def _solved(formula: Formula, values: dict[str, float], name: str, wanted: float) -> float:
    """Where a formula that moves one way with its one unknown gives what is wanted."""
    places = [sign * 10.0**decade for sign in (1, -1) for decade in DECADES]
    found: list[tuple[float, float]] = []
    for place in places:
        try:
            found.append((place, _at(formula, {**values, name: place}) - wanted))
        except NotKnown:
            continue
    for (low, below), (high, above) in pairwise(found):
        if below * above > 0 or low * high < 0:
            continue
        for _ in range(60):
            middle = (low + high) / 2.0
            low, high = (
                (middle, high) if (_at(formula, {**values, name: middle}) - wanted) * below > 0 else (low, middle)
            )
        return (low + high) / 2.0
    raise NotKnown(f"{name} has no limit from which its value could be taken")


def _si(value: float, code: str) -> float:
    return value * unit(code).factor + unit(code).offset


def _from_si(value: float, code: str) -> float:
    return (value - unit(code).offset) / unit(code).factor
