"""Values computed from earlier readings, with their uncertainty (GUM 5.1.2 and 5.2, sensitivities by differences)."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import replace

from rig.events import Correction, Reading, StepResult
from rig.plan.corrections import ABOVE_SATURATION, CORRECTIONS, SAME
from rig.plan.formula import Corrected, Formula
from rig.plan.formula_words import FormulaError
from rig.quantities import canonical, unit
from rig.run.readings import make_reading
from rig.steam import disagreement, saturation_pressure
from rig.uncertainty import Line, total

TOO_LARGE = "the result, or its uncertainty, is too large for a number"


def _si(value: float, code: str) -> float:
    u = unit(code)
    return value * u.factor + u.offset


def _from_si(value: float, code: str) -> float:
    u = unit(code)
    return (value - u.offset) / u.factor


def known(result: StepResult) -> Reading:
    """The reading of a step, with its errors named after it: met again by way of another formula, they are the same
    ones. The step must have a reading."""
    reading = result.reading
    assert reading is not None
    own = f"{result.name}, attempt {result.attempt}"
    lines = [
        each if each.origin else replace(each, origin=f"{own}: {each.name} {n}")
        for n, each in enumerate(reading.budget)
    ]
    return replace(reading, budget=tuple(lines))


def compute(formula: Formula, readings: Mapping[str, Reading], facts: Mapping[str, float], shown_in: str) -> Reading:
    """The formula's value from readings (by step name) and facts (in SI), in the canonical unit of ``shown_in``.

    Every line of the readings' budgets goes on with its sensitivity, so that what they have in common (one instrument,
    one reading) adds with its sign. A reading of which only a bound is known gives a bound, if the formula moves one
    way with it. Raises FormulaError where there is no value, or none of its uncertainty; ValueError when a bound cannot
    be carried through.
    """
    try:
        return _computed(formula, readings, facts, shown_in)
    except OverflowError:
        raise FormulaError(TOO_LARGE, 1) from None


def _computed(formula: Formula, readings: Mapping[str, Reading], facts: Mapping[str, float], shown_in: str) -> Reading:
    values = {**facts, **{name: _si(r.value, r.unit) for name, r in readings.items()}}
    code = canonical(shown_in)

    def at(changed: Mapping[str, float]) -> float:
        found = _from_si(formula.si({**values, **changed}), code)
        if not math.isfinite(found):
            raise FormulaError(TOO_LARGE, 1)
        return found

    value = at({})
    lines: list[Line] = []
    for name, reading in readings.items():
        sensitivity = _sensitivity(at, values[name], name, reading)
        lines += [replace(each, name=f"{name}: {each.name}").scaled(sensitivity) for each in reading.budget]
    if not math.isfinite(total(lines)[0]):
        raise FormulaError(TOO_LARGE, 1)
    bound = _bound(at, value, values, readings)
    reading = make_reading(value, code, lines, shown_in, how="computed", bound=bound)
    before = (made for each in readings.values() for made in each.corrections)
    made = (_named(each, code) for each in formula.corrections(values))
    return replace(reading, corrections=(*dict.fromkeys(before), *made))


def meaning(formula: Formula, reading: Reading) -> str | None:
    """What a temperature above or below saturation may mean, for people; None for other formulas.

    Where the pressure came from a gauge, another ambient pressure is among the reasons."""
    if not formula.calls(ABOVE_SATURATION):
        return None
    made = {each.name: each for each in reading.corrections}
    found, ambient = made[ABOVE_SATURATION], made.get("absolute")
    pascal = saturation_pressure(found.before - found.after)
    around = None if ambient is None else ambient.after - ambient.before
    return disagreement(found.before, pascal, reading.u, ambient=around).meaning


def _named(made: Corrected, code: str) -> Correction:
    """A correction as the record has it; one that fits any unit counts in that of the result."""
    rule = CORRECTIONS[made.name]
    first, last = (code if c == SAME else canonical(c) for c in (rule.takes[0], rule.gives))
    return Correction(made.name, _from_si(made.before, first), first, _from_si(made.after, last), last, rule.rule)


def _sensitivity(at: Callable[[Mapping[str, float]], float], middle: float, name: str, reading: Reading) -> float:
    """Change of the result for one canonical unit of a reading: the difference over ±u (GUM 5.1.3, note 2)."""
    step = reading.u * unit(reading.unit).factor
    return (at({name: middle + step}) - at({name: middle - step})) / (2.0 * reading.u) if step > 0 else 0.0


def _bound(
    at: Callable[[Mapping[str, float]], float],
    value: float,
    values: Mapping[str, float],
    readings: Mapping[str, Reading],
) -> str | None:
    directions = set()
    for name, reading in readings.items():
        if reading.bound is None:
            continue
        sign = 1.0 if reading.bound == "more than" else -1.0
        further = [at({name: values[name] + sign * k * abs(values[name])}) - value for k in (0.1, 0.5, 0.9)]
        if all(d > 0 for d in further):
            directions.add("more than")
        elif all(d < 0 for d in further):
            directions.add("less than")
        else:
            raise ValueError(f"only a bound of {name} is known, and it does not carry through this formula")
    if len(directions) > 1:
        raise ValueError("only bounds are known, and they pull this value both ways")
    return directions.pop() if directions else None
