"""From what an instrument said to a reading with its uncertainty, and from a reading to a verdict."""

from __future__ import annotations

import math
from collections.abc import Sequence

from rig.bench.meter_path import MeterReading
from rig.events import Reading
from rig.limits import Judgement, Limit, Verdict, judge
from rig.plan.wiring import QuantitySpec
from rig.quantities import canonical, convert, unit
from rig.uncertainty import combine, rectangular, resolution, shown, type_a

K = 2.0  # coverage factor of every uncertainty shown to people (about 95 %, GUM 6.3.3)

Parts = tuple[tuple[str, float], ...]


def make_reading(
    value: float,
    code: str,
    parts: Parts,
    shown_in: str = "",
    how: str = "measured",
    raw: Sequence[float] = (),
    bound: str | None = None,
) -> Reading:
    """A reading in a canonical unit ``code``; ``shown_in`` is the unit that people read it in."""
    u = combine([p for _, p in parts])
    return Reading(value, code, u, _text(value, u, code, shown_in or code, bound), bound, how, parts, tuple(raw))


def _text(value: float, u: float, code: str, shown_in: str, bound: str | None) -> str:
    number = convert(value, code, shown_in)
    span = abs(convert(value + u, code, shown_in) - number)
    if bound is not None:
        return f"{bound} {number:.4g} {shown_in}"
    return shown(number, K * span, shown_in)


def from_meter(said: MeterReading, shown_in: str = "") -> Reading:
    """The mean of the meter's readings with accuracy, scatter, and the shunt's tolerance (GUM 4.3.7, 4.2.3)."""
    mean = math.fsum(said.values) / len(said.values)
    parts: list[tuple[str, float]] = []
    if said.of_reading is not None and said.of_range is not None and said.full_scale is not None:
        parts.append(("accuracy", rectangular(said.of_reading * abs(mean) + said.of_range * said.full_scale)))
    if len(said.values) > 1:
        parts.append(("scatter", type_a(said.values)))
    if said.shunt is None:
        return make_reading(mean, said.unit, tuple(parts), shown_in, raw=said.values)
    amps = mean / said.shunt
    scaled = [(name, u / said.shunt) for name, u in parts]
    scaled.append(("shunt", rectangular(said.shunt_accuracy * abs(amps))))
    return make_reading(amps, "A", tuple(scaled), shown_in, raw=said.values)


def open_circuit(code: str, full_scale: float, of_reading: float, of_range: float, shown_in: str = "") -> Reading:
    """What an over-range answer does tell of a resistance (Ohm) or a junction (V): that it lies above the range."""
    part = rectangular((of_reading + of_range) * full_scale)
    return make_reading(full_scale, code, (("accuracy", part),), shown_in, bound="more than")


def quantity_accuracy(spec: QuantitySpec) -> Parts:
    """The parts that every single reading of a bench quantity has, in its canonical unit."""
    code = spec.means[0].canonical().unit
    low, high = (m.canonical().value for m in spec.means)
    accuracy = ("accuracy", rectangular(spec.accuracy.to(_difference(code))))
    if spec.raw is None:
        return (accuracy,)
    return accuracy, ("resolution", resolution((high - low) / (spec.raw[1] - spec.raw[0])))


def from_quantity(spec: QuantitySpec, values: Sequence[float], raw: Sequence[float], shown_in: str = "") -> Reading:
    """The mean of a bench quantity's values (canonical unit)."""
    mean = math.fsum(values) / len(values)
    parts = list(quantity_accuracy(spec))
    if len(values) > 1:
        parts.append(("scatter", type_a(values)))
    return make_reading(mean, spec.means[0].canonical().unit, tuple(parts), shown_in, raw=raw)


def by_hand(number: float, code: str, u: float | None, text: str, shown_in: str = "") -> Reading:
    """A number that a person read. Without a stated uncertainty, its last digit is taken as rectangular."""
    half = _half_digit(text)
    parts: Parts = (("stated by the procedure", u),) if u is not None else (("last digit", rectangular(half)),)
    value = convert(number, code, canonical(code))
    scaled = parts if u is not None else tuple((n, standard_uncertainty_in(p, code)) for n, p in parts)
    return make_reading(value, canonical(code), scaled, shown_in or code, how="by hand")


def _half_digit(text: str) -> float:
    digits = text.strip().split()[0].lower().partition("e")
    _, _, decimals = digits[0].partition(".")
    exponent = int(digits[2]) if digits[2] else 0
    return float(0.5 * 10.0 ** (exponent - len(decimals)))


def _difference(code: str) -> str:
    return "K" if code == "Cel" else code


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
    found: Judgement = judge(reading.value, reading.u, limit)
    return found.verdict, found.conformance_probability, None


def _judge_bound(reading: Reading, limit: Limit) -> tuple[Verdict, float | None, str | None]:
    """All that is known is that the true value lies beyond ``reading.value``."""
    above = reading.bound == "more than"
    far, near = (limit.at_most, limit.at_least) if above else (limit.at_least, limit.at_most)
    sign = 1.0 if above else -1.0
    guard = K * reading.u
    if far is not None and sign * (reading.value - far) > guard:
        return Verdict.FAIL, 0.0, f"{reading.shown}, beyond the limit"
    if far is None and near is not None and sign * (reading.value - near) > guard:
        return Verdict.PASS, 1.0, None
    return Verdict.NO_READING, None, f"{reading.shown}, which cannot be judged against this limit"
