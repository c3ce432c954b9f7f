"""Values computed from earlier readings, with their uncertainty (GUM 5.1.2, sensitivities found numerically)."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from rig.events import Reading
from rig.plan.formula import Formula
from rig.quantities import canonical, unit
from rig.run.readings import Parts, make_reading


def _si(value: float, code: str) -> float:
    u = unit(code)
    return value * u.factor + u.offset


def _from_si(value: float, code: str) -> float:
    u = unit(code)
    return (value - u.offset) / u.factor


def compute(formula: Formula, readings: Mapping[str, Reading], facts: Mapping[str, float], shown_in: str) -> Reading:
    """The formula's value from readings (by step name) and facts (in SI), in the canonical unit of ``shown_in``.

    The readings count as uncorrelated. A reading of which only a bound is known gives a bound, if the formula moves
    one way with it. Raises FormulaError, ValueError when a bound cannot be carried through.
    """
    values = {**facts, **{name: _si(r.value, r.unit) for name, r in readings.items()}}
    code = canonical(shown_in)

    def at(changed: Mapping[str, float]) -> float:
        return _from_si(formula.si({**values, **changed}), code)

    value = at({})
    parts: Parts = tuple((name, _share(at, values[name], name, r)) for name, r in readings.items())
    bound = _bound(at, value, values, readings)
    return make_reading(value, code, parts, shown_in, how="computed", bound=bound)


def _share(at: Callable[[Mapping[str, float]], float], middle: float, name: str, reading: Reading) -> float:
    """What one reading's uncertainty moves: half the difference over ±u, which needs no derivative."""
    step = reading.u * unit(reading.unit).factor
    return abs(at({name: middle + step}) - at({name: middle - step})) / 2 if step > 0 else 0.0


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
