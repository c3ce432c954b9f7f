"""What the bench file states of an instrument's accuracy, for one function and range, on one day."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date

from rig.judgement.accuracy import Certificate, Point, Statement, Term, beyond
from rig.judgement.pt100 import CLASSES
from rig.judgement.sensors import RULES, least_slope
from rig.judgement.sensors import slope as slope_of
from rig.plan.channels import Accuracy, QuantitySpec
from rig.plan.wiring import Bench, InstrumentSpec
from rig.quantities import Quantity

SAME = 1e-9  # relative: two ranges that are one


def statement_of(bench: Bench, meter: str, function: str, full_scale: float | None, today: date) -> Statement | None:
    """The statement of a meter for a function on the range ``full_scale`` (canonical unit); None where none holds."""
    spec = bench.instruments[meter]
    for line in sorted(spec.accuracy, key=_shortest_first):
        full = line.range.canonical()
        same = full_scale is not None and abs(full.value - full_scale) <= SAME * full_scale
        if line.function == function and same and _holds(line, spec, today):
            return _statement(bench, meter, line)
    return None


def narrowest_statement(bench: Bench, meter: str, function: str, full_scale: float, today: date) -> Statement | None:
    """The statement of the smallest range that takes ``full_scale`` (canonical unit); None where there is none."""
    spec = bench.instruments.get(meter)
    ranges = [] if spec is None else [n.range.canonical().value for n in spec.accuracy if n.function == function]
    fitting = [r for r in ranges if r >= full_scale * (1 - SAME)]
    return statement_of(bench, meter, function, min(fitting), today) if fitting else None


def why_none(bench: Bench, meter: str, function: str, full_scale: float | None, today: date) -> str:
    """Why no statement holds, for people."""
    spec = bench.instruments[meter]
    lines = [n for n in spec.accuracy if n.function == function]
    same = [n for n in lines if full_scale and abs(n.range.canonical().value - full_scale) <= SAME * full_scale]
    if not same:
        return "the bench file states no accuracy for this function and range, so nothing can be judged"
    if spec.calibrated is None:
        return f"the accuracy of {meter} holds for a time after calibration, and the bench file has no date of it"
    age = (today - date.fromisoformat(spec.calibrated)).days
    longest = max((n.within.to("d") for n in same if n.within is not None), default=0.0)
    return f"the accuracy of {meter} holds for {longest:g} d after calibration, and that was {age} d ago"


def _shortest_first(line: Accuracy) -> float:
    return float("inf") if line.within is None else line.within.to("s")


def _holds(line: Accuracy, spec: InstrumentSpec, today: date) -> bool:
    """Whether a line still holds: the calibration is no older than ``within``."""
    if line.within is None:
        return True
    if spec.calibrated is None:
        return False
    return 0 <= (today - date.fromisoformat(spec.calibrated)).days <= line.within.to("d")


def _statement(bench: Bench, meter: str, line: Accuracy) -> Statement:
    full = line.range.canonical()
    code = full.unit
    kelvins = 0.0 if bench.room is None or line.band is None else beyond(_ends(bench.room), _ends(line.band))
    step = 0.0 if line.resolution is None else line.resolution.to(code)
    terms = [
        Term("share of reading", line.of_reading.to("1"), 0.0, f"{line.of_reading} of the reading"),
        Term("share of range", 0.0, line.of_range.to("1") * full.value, f"{line.of_range} of {line.range}"),
    ]
    if line.counts:
        terms.append(Term("counts", 0.0, line.counts * step, f"{line.counts} counts of {line.resolution}"))
    if kelvins > 0:
        of_reading = 0.0 if line.of_reading_per_kelvin is None else line.of_reading_per_kelvin.to("1")
        of_range = 0.0 if line.of_range_per_kelvin is None else line.of_range_per_kelvin.to("1")
        basis = f"the room reaches {kelvins:g} K beyond the statement's band"
        terms.append(Term("temperature", of_reading * kelvins, of_range * kelvins * full.value, basis))
    certificate = None
    if line.certificate is not None:
        points = (Point(p.at.to(code), p.add.to(code), p.uncertainty.to(code)) for p in line.certificate.points)
        certificate = Certificate(line.certificate.number, tuple(sorted(points, key=lambda p: p.at)))
    return Statement(f"{meter}, {line.function}, {line.range}", tuple(terms), step, certificate)


def _ends(pair: tuple[Quantity, ...]) -> tuple[float, float]:
    return pair[0].to("Cel"), pair[1].to("Cel")


def certificate_of(spec: QuantitySpec) -> Certificate | None:
    """What a channel's readings are corrected by, in its canonical unit."""
    if spec.certificate is None:
        return None
    difference = "K" if spec.unit == "Cel" else spec.unit
    points = (Point(p.at.to(spec.unit), p.add.to(difference), p.uncertainty.to(difference))
              for p in spec.certificate.points)  # fmt: skip
    return Certificate(spec.certificate.number, tuple(sorted(points, key=lambda p: p.at)))


def _shares(spec: QuantitySpec, room: tuple[Quantity, ...] | None) -> Iterator[Term]:
    """What a channel's statement adds to its limit of error."""
    full = max(abs(m.canonical().value) for m in spec.means)
    if spec.of_reading is not None:
        yield Term("share of reading", spec.of_reading.to("1"), 0.0, f"{spec.of_reading} of the reading")
    if spec.of_range is not None:
        yield Term("share of range", 0.0, spec.of_range.to("1") * full, f"{spec.of_range} of the channel's far end")
    kelvins = 0.0 if room is None or spec.band is None else beyond(_ends(room), _ends(spec.band))
    if kelvins > 0:
        shares = (spec.of_reading_per_kelvin, spec.of_range_per_kelvin)
        of_reading, of_range = (0.0 if share is None else share.to("1") * kelvins for share in shares)
        basis = f"the room reaches {kelvins:g} K beyond the statement's band"
        yield Term("temperature", of_reading, of_range * full, basis)


def quantity_statement(
    name: str, spec: QuantitySpec, cold: QuantitySpec | None = None, room: tuple[Quantity, ...] | None = None
) -> Statement:
    """The statement of a bench quantity, in its canonical unit; its resolution is one count, where it has counts, or as
    the bench file states it.

    ``cold`` is the quantity at a thermocouple's terminals. Ohms or volts of a sensor count in K by its least slope
    between the ends of the channel."""
    code = spec.means[0].canonical().unit
    difference = "K" if code == "Cel" else code
    half = spec.accuracy.to(difference)
    moves = 0.0 if spec.drift is None else spec.drift.to(difference) / 2.0
    step = 0.0 if spec.resolution is None else spec.resolution.to(difference)
    if spec.raw is not None:
        low, high = (m.canonical().value for m in spec.means)
        step = abs(high - low) / abs(spec.raw[1] - spec.raw[0])
    sensor = spec.sensor
    slope = 1.0 if sensor is None else least_slope(sensor.kind, *spec.ends())
    basis = "stated in the bench file" + ("" if sensor is None else ", over the slope")
    lasting = f"{spec.accuracy}, {basis}" if spec.drift is None else f"{spec.accuracy} less half the drift, {basis}"
    terms: tuple[Term, ...] = (Term("limit of error", 0.0, (half - moves) / slope, lasting),)
    if spec.drift is not None:
        terms += (Term("drift", 0.0, moves / slope, f"half of {spec.drift}, {basis}", drifts=True),)
    if sensor is None:
        terms += tuple(_shares(spec, room))
        return Statement(f"{spec.instrument}, {name}", terms, step, certificate_of(spec))
    if sensor.class_ is not None:
        fixed, share = CLASSES[sensor.class_]
        terms += (Term("sensor", share, fixed, f"class {sensor.class_}, IEC 60751"),)
    if sensor.tolerance is not None:
        terms += (Term("sensor", 0.0, sensor.tolerance.to("K"), f"its tolerance, {sensor.tolerance}"),)
    if cold is not None:
        ends = cold.ends()
        most = max(slope_of(sensor.kind, end) for end in ends) / slope
        off = quantity_statement("", cold).half_width(max(map(abs, ends))) * most
        terms += (Term("cold junction", 0.0, off, f"the limit of error of {sensor.cold_junction}, over the slope"),)
    return Statement(f"{spec.instrument}, {name}, {RULES[sensor.kind]}", terms, step / slope)


def stated_quantity(bench: Bench, name: str) -> Statement:
    """The statement of a quantity of a bench."""
    spec = bench.quantities[name]
    cold = None if spec.sensor is None or spec.sensor.cold_junction is None else spec.sensor.cold_junction
    return quantity_statement(name, spec, None if cold is None else bench.quantities.get(cold), bench.room)
