"""Rules about readings: what is measured can be measured there, on a range that fits, with a known accuracy."""

from __future__ import annotations

from collections.abc import Iterator

from rig.errors import Fault
from rig.plan.answers import NumberAnswer
from rig.plan.procedure import CONTACT_FIGURES, Ask, Measure, Record, Waveform
from rig.plan.view import FUNCTION_QUANTITY, View, example, waveform_quantity
from rig.quantities import Quantity, unit

# What an open circuit drives beyond the range.
OPENS = frozenset({"resistance", "resistance four-wire", "continuity", "diode"})
THROUGH_SHUNT = {"DC amps": "DC volts", "AC amps": "AC volts"}


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
            kind = "AC" if step.judge == "inrush to holding" else "DC"
            if offers and waveform_quantity(step, offers) is None:
                message = (
                    f"'{step.judge}' is of {kind} amps or {kind} volts; {step.waveform} measures {', '.join(offers)}"
                )
                yield view.fault(placed, ("waveform",), message)


def periods_are_known(view: View) -> Iterator[Fault]:
    """Where periods of the mains are counted, the profile gives its frequency, and the record holds three of them."""
    for placed in view.steps:
        step = placed.step
        if not isinstance(step, Waveform) or step.judge != "inrush to holding":
            continue
        hertz = None if view.profile is None else view.profile.facts.get("mains", {}).get("frequency")
        if not isinstance(hertz, Quantity) or unit(hertz.unit).quantity != "frequency" or hertz.value <= 0:
            message = "this counts periods of the mains: the unit profile needs the fact mains.frequency, such as 50 Hz"
            yield view.fault(placed, ("judge",), message)
        elif step.for_.to("s") * hertz.to("Hz") < 3 or step.interval.to("s") * hertz.to("Hz") > 0.1:
            message = f"expected a record of three periods of {hertz} or more, ten points or more in each"
            yield view.fault(placed, ("for",), message)


def ranges_fit(view: View) -> Iterator[Fault]:
    """A range is of the function's kind, and only where there is a meter to set it."""
    for placed in view.steps:
        step = placed.step
        if not isinstance(step, Measure):
            continue
        if step.over_range == "open circuit" and step.measure not in OPENS:
            message = f"only a resistance or a junction beyond the range is an open circuit; this is {step.measure}"
            yield view.fault(placed, ("over-range",), message)
        if step.range is None:
            continue
        kind, wanted = unit(step.range.unit).quantity, FUNCTION_QUANTITY[step.measure]
        if step.at in view.bench.quantities:
            message = f"{step.at} is wired to its own channel and has no range to set; take the key out"
            yield view.fault(placed, ("range",), message)
        elif kind != wanted:
            message = f"a range for {step.measure} is a {wanted} such as {example(wanted)}, found {step.range}"
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


def slopes_have_a_unit(view: View) -> Iterator[Fault]:
    """A slope is of a mass, a temperature or a pressure, a leak of a pressure, lethality of a temperature, first
    contact and chatter are of an input."""
    for placed in view.steps:
        step = placed.step
        spec = view.bench.quantities.get(step.judged) if isinstance(step, Record) else None
        if isinstance(step, Record) and spec is not None and view.reading(step) is None:
            message = f"there is no unit for the {step.figure} of a {FUNCTION_QUANTITY[spec.measures]}"
            yield view.fault(placed, ("judge",), message)
        elif isinstance(step, Record) and step.judged in view.bench.inputs and view.reading(step) is None:
            message = f"an input has no {step.figure}; expected {' or '.join(CONTACT_FIGURES)} of {step.judged}"
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


RULES = (functions_fit, periods_are_known, ranges_fit, accuracy_is_stated, slopes_have_a_unit, uncertainties_fit)
