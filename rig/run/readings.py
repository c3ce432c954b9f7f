"""From what an instrument said to a reading with its uncertainty, and from a reading to a verdict."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

from rig.bench.meter_path import MeterReading
from rig.distributions import coverage_factor
from rig.events import Correction, Reading
from rig.judgement.accuracy import Statement
from rig.judgement.sensors import RULES
from rig.limits import Judgement, Limit, Verdict, judge
from rig.plan.channels import QuantitySpec
from rig.plan.stated import stated_quantity
from rig.plan.wiring import Bench
from rig.quantities import canonical, convert, unit
from rig.run.typed import number_typed
from rig.uncertainty import Line, line, rectangular, scatter, shown, total

Lines = Sequence[Line]


def make_reading(
    value: float,
    code: str,
    lines: Lines,
    shown_in: str = "",
    how: str = "measured",
    raw: Sequence[float] = (),
    bound: str | None = None,
) -> Reading:
    """A reading in a canonical unit ``code`` from its budget; ``shown_in`` is the unit that people read it in."""
    u, dof = total(lines)
    text = _text(value, u, dof, code, shown_in or code, bound)
    return Reading(value, code, u, text, bound, how, _parts(lines), tuple(raw), dof=dof, budget=tuple(lines))


def _parts(lines: Lines) -> tuple[tuple[str, float], ...]:
    """The budget in short: one standard uncertainty a name, an accuracy statement as one."""
    parts: dict[str, float] = {}
    for each in lines:
        before, colon, name = each.name.rpartition(": ")
        name = f"{before}{colon}{'accuracy' if each.statement else name}"
        parts[name] = parts.get(name, 0.0) + abs(each.share)
    return tuple(parts.items())


def _text(value: float, u: float, dof: float | None, code: str, shown_in: str, bound: str | None) -> str:
    number = convert(value, code, shown_in)
    span = abs(convert(value + u, code, shown_in) - number)
    if bound is not None:
        return f"{bound} {number:.4g} {shown_in}"
    return shown(number, coverage_factor(dof) * span, shown_in)


def from_meter(said: MeterReading, shown_in: str = "") -> Reading:
    """The mean of the meter's readings with accuracy, scatter, and the shunt's tolerance (GUM 4.3.7, 4.2.3), corrected
    by the meter's certificate where it has one for the range."""
    mean = math.fsum(said.values) / len(said.values)
    lines = [*(() if said.statement is None else said.statement.lines(mean))]
    made = _certified(said, mean)
    mean = made[-1].after if made else mean
    if len(said.values) > 1:
        lines.append(scatter(said.values))
    if said.shunt is None:
        return replace(make_reading(mean, said.unit, lines, shown_in, raw=said.values), corrections=made)
    amps = mean / said.shunt
    scaled = [each.scaled(1.0 / said.shunt) for each in lines]
    scaled.append(shunt_line(said, amps))
    return replace(make_reading(amps, "A", scaled, shown_in, raw=said.values), corrections=made)


def _certified(said: MeterReading, mean: float) -> tuple[Correction, ...]:
    if said.statement is None or said.statement.certificate is None:
        return ()
    certificate = said.statement.certificate
    add, _ = certificate.correction(mean)
    basis = f"calibration certificate {certificate.number}, {said.statement.source}"
    return (Correction("certificate", mean, said.unit, mean + add, said.unit, basis),)


def shunt_line(said: MeterReading, amps: float) -> Line:
    """The shunt's tolerance, in a current through it."""
    share = said.shunt_accuracy
    origin = f"shunt of {said.shunt:g} Ohm"
    return Line("shunt", rectangular(share), f"tolerance {share * 100:g} %", sensitivity=-amps, origin=origin)


def open_circuit(code: str, full_scale: float, statement: Statement, shown_in: str = "") -> Reading:
    """What an over-range answer does tell of a resistance (Ohm) or a junction (V): that it lies above the range."""
    return make_reading(full_scale, code, statement.lines(full_scale), shown_in, bound="more than")


def from_quantity(
    name: str,
    bench: Bench,
    values: Sequence[float],
    raw: Sequence[float],
    shown_in: str = "",
    cold: Sequence[float] = (),
) -> Reading:
    """The mean of a bench quantity's values (canonical unit); ``cold`` are the temperatures of a thermocouple's
    terminals that they were made with (Cel)."""
    spec = bench.quantities[name]
    mean = math.fsum(values) / len(values)
    lines = [*stated_quantity(bench, name).lines(mean)]
    if len(values) > 1:
        lines.append(scatter(values))
    made = make_reading(mean, spec.unit, lines, shown_in, raw=raw)
    if spec.certificate is not None:
        before = math.fsum(spec.electrical(each) for each in raw) / len(raw)
        basis = f"calibration certificate {spec.certificate.number}, {spec.instrument}, {name}"
        return replace(made, corrections=(Correction("certificate", before, spec.unit, mean, spec.unit, basis),))
    return made if spec.sensor is None else replace(made, corrections=(_sensed(spec, mean, raw, cold),))


def _sensed(spec: QuantitySpec, mean: float, raw: Sequence[float], cold: Sequence[float]) -> Correction:
    """What a sensor's ohms or volts were taken for."""
    assert spec.sensor is not None
    read = math.fsum(spec.electrical(each) for each in raw) / len(raw)
    basis = RULES[spec.sensor.kind]
    if cold:
        basis += f", at {math.fsum(cold) / len(cold):.4g} Cel ({spec.sensor.cold_junction})"
    return Correction(spec.sensor.kind, read, spec.means[0].canonical().unit, mean, "Cel", basis)


def by_hand(number: float, code: str, u: float | None, text: str, shown_in: str = "") -> Reading:
    """A number that a person read. Without a stated uncertainty, its last digit is taken as rectangular."""
    value = convert(number, code, canonical(code))
    if u is not None:
        found = Line("stated by the procedure", u, "standard uncertainty of a reading by hand", "normal")
    else:
        found = line(
            "last digit", standard_uncertainty_in(number_typed(text, code)[1], code), "half of the last digit typed"
        )
    return make_reading(value, canonical(code), (found,), shown_in or code, how="by hand")


def standard_uncertainty_in(value: float, code: str) -> float:
    """A standard uncertainty stated in ``code``, in the canonical unit of its quantity (differences for Cel)."""
    u = unit(code)
    if u.code == "Cel":
        return value
    return convert(value, code, canonical(code))


def judge_reading(reading: Reading, limit: Limit | None) -> tuple[Verdict, float | None, str | None]:
    """Verdict, conformance probability and reason of a reading against its limit."""
    if limit is None:
        return Verdict.NOT_EVALUATED, None, "the procedure gives no limit"
    if reading.bound is not None:
        return _judge_bound(reading, limit)
    found: Judgement = judge(reading.value, reading.u, limit, reading.dof)
    return found.verdict, found.conformance_probability, None


def _judge_bound(reading: Reading, limit: Limit) -> tuple[Verdict, float | None, str | None]:
    """All that is known is that the true value lies beyond ``reading.value``."""
    above = reading.bound == "more than"
    far, near = (limit.at_most, limit.at_least) if above else (limit.at_least, limit.at_most)
    sign = 1.0 if above else -1.0
    guard = limit.rule.guard * coverage_factor(reading.dof) * reading.u
    if far is not None and sign * (reading.value - far) > guard:
        return Verdict.FAIL, 0.0, f"{reading.shown}, beyond the limit"
    if far is None and near is not None and sign * (reading.value - near) > guard:
        return Verdict.PASS, 1.0, None
    why = f"{reading.shown}: cannot be judged against this limit. Measure on a range that takes the limit."
    return Verdict.NO_READING, None, why
