"""Corrections as procedures write them, against the published examples of their rules.

IEC 60034-1, 8.6.2.3 (winding), Ohm's law (heater), IAPWS R7-97 (steam), IEC 60751 (Pt100), NIST Monograph 175 (types K
and T); the figures stand with their sources in the tests of each rule.
"""

from __future__ import annotations

import pytest

from rig.plan.formula import FormulaError, parse
from rig.quantities import unit


def value(text: str, given: dict[str, tuple[float, str]], wanted: str) -> float:
    known = {name: v * unit(code).factor + unit(code).offset for name, (v, code) in given.items()}
    formula = parse(text)
    assert (
        formula.dimension({name: unit(code).dimension for name, (_, code) in given.items()}) == unit(wanted).dimension
    )
    u = unit(wanted)
    return (formula.si(known) - u.offset) / u.factor


@pytest.mark.parametrize(
    ("text", "given", "wanted", "expected"),
    [
        ("copper-at-20(r, t)", {"r": (1.392157, "Ohm"), "t": (120.0, "Cel")}, "Ohm", 1.0),
        (
            "winding-rise(warm, cold, start, around)",
            {"warm": (210, "mOhm"), "cold": (200, "mOhm"), "start": (20, "Cel"), "around": (25, "Cel")},
            "K",
            7.75,
        ),
        ("power-at-rated(p, v, 230 V)", {"p": (1620.0, "W"), "v": (207.0, "V")}, "W", 2000.0),
        ("power-at-rated(p, v, 230 V)", {"p": (2177.693762, "W"), "v": (240.0, "V")}, "W", 2000.0),
        ("saturation-temperature(absolute(g, a))", {"g": (203, "kPa"), "a": (80, "kPa")}, "Cel", 131.547),
        ("saturation-pressure(t)", {"t": (134.0, "Cel")}, "kPa", 304.19888),
        ("t - saturation-temperature(p)", {"t": (130.0, "Cel"), "p": (304.19888, "kPa")}, "K", -4.0),
        ("above-saturation(t, p)", {"t": (130.0, "Cel"), "p": (304.19888, "kPa")}, "K", -4.0),
        ("pt100(r)", {"r": (151.2, "Ohm")}, "Cel", 133.64233),
        ("pt100(zeroed(r, lead))", {"r": (151.6, "Ohm"), "lead": (400, "mOhm")}, "Cel", 133.64233),
        ("pt1000(r)", {"r": (1.512, "kOhm")}, "Cel", 133.64233),
        ("type-k(v, cold)", {"v": (4.571845, "mV"), "cold": (23, "Cel")}, "Cel", 134.0),
        ("type-t(v, cold)", {"v": (4.998962, "mV"), "cold": (23, "Cel")}, "Cel", 134.0),
    ],
)
def test_corrections(text: str, given: dict[str, tuple[float, str]], wanted: str, expected: float) -> None:
    assert value(text, given, wanted) == pytest.approx(expected, rel=1e-5, abs=5e-4)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("pt100(t)", "pt100 takes a resistance"),
        ("zeroed(r, t)", "zeroed takes a resistance and a resistance"),
        ("absolute(p)", "takes 2 values"),
        ("type-k(v, v)", "type-k takes a voltage and a temperature"),
    ],
)
def test_what_does_not_fit(text: str, message: str) -> None:
    known = {
        "t": unit("Cel").dimension,
        "r": unit("Ohm").dimension,
        "p": unit("Pa").dimension,
        "v": unit("V").dimension,
    }
    with pytest.raises(FormulaError, match=message):
        parse(text).dimension(known)


def test_no_value_is_a_fault_of_the_formula_with_its_place() -> None:
    with pytest.raises(FormulaError, match="no resistance of a thermometer") as caught:
        parse("3 * pt100(r)").si({"r": 5.0})
    assert caught.value.column == 5


def test_each_correction_is_named_with_before_and_after() -> None:
    made = parse("pt100(zeroed(r, lead))").corrections({"r": 151.6, "lead": 0.4})
    assert [(m.name, m.before) for m in made] == [("zeroed", 151.6), ("pt100", pytest.approx(151.2))]
    assert made[1].after - 273.15 == pytest.approx(133.64233, abs=1e-5)
