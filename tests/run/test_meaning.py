"""What a temperature off saturation may mean is said with the reading: air, a sensor, or the place's altitude."""

from __future__ import annotations

import pytest

from rig.events import Reading
from rig.plan.formula import parse
from rig.run.computing import compute, meaning
from rig.run.readings import make_reading
from rig.uncertainty import line


def reading(value: float, code: str, half: float) -> Reading:
    return make_reading(value, code, [line("limit of error", half)])


def said(text: str, **readings: Reading) -> str | None:
    formula = parse(text)
    return meaning(formula, compute(formula, readings, {}, "K"))


ABSOLUTE = "above-saturation(t, p)"
GAUGE = "above-saturation(t, absolute(g, around))"
STEAM = 304.199e3  # Pa, IAPWS R7-97 at 134 Cel


def test_air_or_a_sensor() -> None:
    """Ten parts of air in a hundred at the pressure of 134 Cel: the steam is at 130.433 Cel (Dalton, R7-97)."""
    cold = str(said(ABSOLUTE, t=reading(130.433, "Cel", 0.3), p=reading(STEAM, "Pa", 1e3)))
    assert cold.startswith("3.57 K too cold for its pressure: 30.4 kPa of air left in")
    assert "altitude" not in cold
    hot = str(said(ABSOLUTE, t=reading(137.0, "Cel", 0.3), p=reading(STEAM, "Pa", 1e3)))
    assert hot.startswith("3.00 K too hot for its pressure: superheated (dry) steam, or the temperature reads high")


def test_what_is_within_its_uncertainty_agrees() -> None:
    assert said(ABSOLUTE, t=reading(134.2, "Cel", 0.3), p=reading(STEAM, "Pa", 1e3)) == "pressure and temperature agree"


def test_a_gauge_in_the_mountains() -> None:
    """203 kPa above 95 kPa boil at 133.297 Cel, not at the 134.014 of 101.325 kPa: the ambient that fits is named."""
    found = str(
        said(
            GAUGE, t=reading(133.297, "Cel", 0.1), g=reading(203e3, "Pa", 100.0), around=reading(101.325e3, "Pa", 100.0)
        )
    )
    assert "or ambient is 95.0 kPa and not 101.3 kPa (altitude, weather)" in found


@pytest.mark.parametrize("text", ["t - saturation-temperature(p)", "t - 100 K"])
def test_other_formulas_mean_nothing(text: str) -> None:
    both = {"t": reading(134.0, "Cel", 0.3), "p": reading(STEAM, "Pa", 1e3)}
    formula = parse(text)
    assert meaning(formula, compute(formula, {n: r for n, r in both.items() if n in text}, {}, "K")) is None
