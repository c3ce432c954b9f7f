"""Whether readings will be good enough to decide by: the test uncertainty ratio of each step before it is run.

The uncertainty is that of the bench file's accuracy statements at the ends of the limit; scatter adds to it in the
run. Where a rule refuses a poor ratio it is a fault; elsewhere a warning.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from datetime import date

from rig.errors import Fault
from rig.judgement.accuracy import Statement
from rig.limits import Limit
from rig.plan.answers import NumberAnswer
from rig.plan.edges import QuantityEdge
from rig.plan.plan_limits import limit_of, rule_of
from rig.plan.procedure import Ask, Judged, Measure, Time
from rig.plan.stated import stated_quantity, statement_of
from rig.plan.values import LimitRef, LimitText
from rig.plan.view import FUNCTION_QUANTITY, Placed, View
from rig.quantities import canonical, convert, unit
from rig.uncertainty import Line, line, total

CLOCK = 1e-4  # share of a time


def poor_ratios(view: View) -> Iterator[Fault]:
    """A ratio below the least one, where the rule refuses it."""
    yield from (fault for fault, refused in _poor(view) if refused)


def ratios_to_warn_of(view: View) -> Iterator[Fault]:
    """A ratio below the least one, where the rule lets it be."""
    yield from (fault for fault, refused in _poor(view) if not refused)


def _poor(view: View) -> Iterator[tuple[Fault, bool]]:
    for placed in view.steps:
        limit = _limit(view, placed)
        if limit is None:
            continue
        try:
            expanded = [2.0 * total(_lines(view, placed, limit, end))[0] for end in _ends(limit)]
        except ValueError:
            continue  # units that do not fit are said by another rule
        why = limit.too_poor(max(expanded, default=0.0))
        if why:
            yield view.fault(placed, ("limit",), why), limit.rule.refuse


def _limit(view: View, placed: Placed) -> Limit | None:
    """The limit of a step, where it has one of its reading's kind."""
    step = placed.step
    written: LimitText | LimitRef | None = step.limit if isinstance(step, (Judged, Ask)) else None
    rule = rule_of(view.procedure)
    if isinstance(written, LimitRef):
        if view.profile is None:
            return None
        rule = rule_of(view.profile, view.procedure)
        written = view.profile.limits.get(written.profile)
    if written is None or unit(written.unit).quantity != view.reading(step):
        return None  # the latter said by another rule
    return limit_of(written, written.source, rule)


def _ends(limit: Limit) -> Iterable[float]:
    return [end for end in (limit.at_least, limit.at_most) if end is not None]


def _lines(view: View, placed: Placed, limit: Limit, value: float) -> list[Line]:
    """The lines of a reading of ``value``, as far as they are known before the run; none where nothing is."""
    step = placed.step
    if isinstance(step, Measure):
        return _measured(view, step, value)
    if isinstance(step, Time):
        return _timed(view, step, value)
    if isinstance(step, Ask) and isinstance(step.answer, NumberAnswer) and step.standard_uncertainty is not None:
        code = "K" if limit.unit == "Cel" else limit.unit
        stated = step.standard_uncertainty
        if unit(stated.unit).quantity == unit(code).quantity:
            return [Line("stated by the procedure", convert(stated.value, stated.unit, code))]
    return []


def _measured(view: View, step: Measure, value: float) -> list[Line]:
    quantity, point = view.bench.quantities.get(step.at), view.bench.test_points.get(step.at)
    if quantity is not None:
        return list(stated_quantity(view.bench, step.at).lines(value))
    if point is None or step.range is None or unit(step.range.unit).quantity != FUNCTION_QUANTITY[step.measure]:
        return []
    shunt = point.shunt.si if point.shunt is not None and step.measure in ("DC amps", "AC amps") else None
    asked = step.measure if shunt is None else step.measure.replace("amps", "volts")
    statement = _narrowest(view, point.meter, asked, step.range.canonical().value * (shunt or 1.0))
    if statement is None:
        return []
    lines = [each.scaled(1.0 / (shunt or 1.0)) for each in statement.lines(value * (shunt or 1.0))]
    if shunt is not None and point.shunt_accuracy is not None:
        lines.append(line("shunt", point.shunt_accuracy.to("1") * abs(value)))
    return lines


def _narrowest(view: View, meter: str, function: str, full_scale: float) -> Statement | None:
    """The statement of the smallest range that takes ``full_scale``."""
    spec = view.bench.instruments.get(meter)
    ranges = [] if spec is None else [n.range.canonical().value for n in spec.accuracy if n.function == function]
    fitting = [r for r in ranges if r >= full_scale * (1 - 1e-9)]
    return statement_of(view.bench, meter, function, min(fitting), date.today()) if fitting else None


def _timed(view: View, step: Time, value: float) -> list[Line]:
    """An edge lies between two looks, which are one period apart or a little more."""
    half = step.every.to("s") / 2.0
    lines = [line("start edge", half), line("end edge", half), line("clock", CLOCK * value)]
    first, last = step.time.from_, step.time.until
    if isinstance(first, QuantityEdge) and isinstance(last, QuantityEdge) and first.quantity == last.quantity:
        spec = view.bench.quantities.get(first.quantity)
        ends = [e.reaches or e.falls_to for e in (first, last)]
        if spec is not None and ends[0] is not None and ends[1] is not None:
            code = canonical(ends[0].unit)
            span = abs(ends[1].to(code) - ends[0].to(code))
            error, _ = total(stated_quantity(view.bench, first.quantity).lines(0.0))
            if span > 0:
                lines.append(Line("sensor", error * 2**0.5, sensitivity=value / span))
    return lines


RULES = (poor_ratios,)
WARNINGS = (ratios_to_warn_of,)
