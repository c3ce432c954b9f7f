"""Arithmetic with units: what it means, what it refuses, and where."""

from __future__ import annotations

import math
import random

import pytest

from rig.plan.formula import MAX_DEPTH, MAX_LENGTH, parse
from rig.plan.formula_words import FormulaError
from rig.quantities import Dimension, unit

V, A, OHM, S, K = (unit(u).dimension for u in ("V", "A", "Ohm", "s", "K"))
DIMENSIONS: dict[str, Dimension] = {
    "volts": V, "amps": A, "coil": OHM, "ambient": K, "a": (0, 0, 0, 0, 0), "time-40-to-90": S, "mains.voltage": V,
}  # fmt: skip
VALUES = {
    "volts": 24.0, "amps": 0.4, "coil": 60.0, "ambient": 298.15, "a": 3.0, "time-40-to-90": 250.0,
    "mains.voltage": 230.0,
}  # fmt: skip


@pytest.mark.parametrize(
    ("text", "value", "code"),
    [
        ("1 + 2 * 3", 7.0, "1"),
        ("(1 + 2) * 3", 9.0, "1"),
        ("8 / 4 / 2", 1.0, "1"),
        ("8 - 4 - 2", 2.0, "1"),
        ("2 * 3 ** 2", 18.0, "1"),
        ("-2 ** 2", -4.0, "1"),  # as in mathematics: the power binds closer than the sign
        ("2 ** -1", 0.5, "1"),
        ("a ** 0", 1.0, "1"),
        ("--a", 3.0, "1"),
        ("1.5e3 + .5 + 1.", 1501.5, "1"),
        ("volts / amps", 60.0, "Ohm"),
        ("volts * amps", 9.6, "W"),
        ("volts * amps * (mains.voltage / volts) ** 2", 9.6 * (230 / 24) ** 2, "W"),
        ("50 K / time-40-to-90", 0.2, "K/s"),
        ("0.5 kPa + 20 mbar", 2500.0, "Pa"),
        ("3 kPa/min * 2 min", 6000.0, "Pa"),
        ("50 K/min(time-40-to-90, 10 s)", 5.0, "K/s"),  # not the unit K/min
        ("50 K/min * 1 min", 50.0, "K"),
        ("20 Cel", 293.15, "Cel"),
        ("1 kg / water.density", 1 / 998.2, "L"),
        ("5 % * 2 V", 0.1, "V"),
        ("2µA * 1 MΩ", 2.0, "V"),
        ("abs(0 V - volts)", 24.0, "V"),
        ("min(volts, 3 V, mains.voltage)", 3.0, "V"),
        ("max(volts, 3 V)", 24.0, "V"),
        ("sqrt(volts * volts)", 24.0, "V"),
        ("sqrt(a + 1)", 2.0, "1"),
        ("volts", 24.0, "V"),
        ("coil - 1 Ohm", 59.0, "Ohm"),
    ],
)
def test_values_and_dimensions(text: str, value: float, code: str) -> None:
    formula = parse(text)
    assert formula.si(VALUES) == pytest.approx(value, rel=1e-12)
    assert formula.dimension(DIMENSIONS) == unit(code).dimension


def test_copper_at_20() -> None:
    """IEC 60034-1, 8.6.2.3: (k + t1) / R1 = (k + t2) / R2 with k = 235 for copper; the doubled figures by hand."""
    formula = parse("copper-at-20(coil, ambient)")
    assert formula.names == ("coil", "ambient")
    # at 20 Cel a winding is as it is; at 275 Cel (2 x 255 - 235) it has twice its resistance
    assert formula.si({"coil": 60.0, "ambient": 293.15}) == pytest.approx(60.0, rel=1e-12)
    assert formula.si({"coil": 120.0, "ambient": 275.0 + 273.15}) == pytest.approx(60.0, rel=1e-12)
    assert parse("copper-at-20(60 Ohm, 25 Cel)").si({}) == pytest.approx(60 * 255 / 260, rel=1e-12)


def test_names_in_order_each_once_without_constants() -> None:
    formula = parse("b-2 * a / water.density + max(fill.volume, b-2)")
    assert formula.names == ("b-2", "a", "fill.volume")
    assert formula.column("fill.volume") == 31


@pytest.mark.parametrize(
    ("text", "column", "words"),
    [
        ("", 1, "expected a number"),
        ("   ", 4, "the end"),
        ("1 +", 4, "the end"),
        ("(1 + 2", 7, "expected ')'"),
        ("1 + 2)", 6, "')'"),
        ("1 2", 3, "operator"),
        ("1 $ 2", 3, "'$'"),
        ("volts amps", 7, "'amps'"),
        ("2 volts", 3, "'volts' is not a unit"),
        ("2 kV2", 3, "not a unit"),
        ("a ** b", 6, "whole number"),
        ("a ** 1.5", 6, "whole number"),
        ("a ** 2 V", 6, "whole number"),
        ("a ** (2)", 6, "whole number"),
        ("a ** 7", 6, "more than 6"),
        ("a ** 2 ** 2", 8, "'**'"),
        ("sin(a)", 1, "sqrt"),
        ("sqrt()", 6, "')'"),
        ("sqrt(a, a)", 1, "takes 1"),
        ("min(a)", 1, "2 to 8"),
        ("copper-at-20(coil)", 1, "takes 2"),
        ("a.b.c", 4, "'.'"),
        ("A", 1, "'A'"),
        ("__import__('os')", 1, "'_'"),
        ("a; b", 2, "';'"),
        ("1e999", 1, "too large"),
        ("a * 1e-400", 5, "too small to be told from 0"),
        ("2 + 0.000e-400 * a - 3e-330", 22, "too small"),
        ("a * \u0663", 5, "'\u0663' has no meaning"),  # a digit, and not one of ours
        ("a * 1\u0663", 6, "'\u0663' has no meaning"),
        # what has no value whatever is measured is said before anything is
        ("a / 0", 3, "division by zero"),
        ("a / (2 - 2)", 3, "division by zero"),
        ("a / (0 V * 3)", 3, "division by zero"),
        ("a + 1e200 * 1e200", 11, "not a finite number"),
        ("a * 1e200 ** 6", 11, "too large"),
        ("a * sqrt(1 - 2)", 5, "negative"),
        ("a" * (MAX_LENGTH + 1), MAX_LENGTH, "300 characters"),
        ("(" * (MAX_DEPTH + 5), MAX_DEPTH + 2, "nested"),
        ("-" * (MAX_DEPTH + 5) + "a", MAX_DEPTH + 2, "nested"),
        ("abs(" * (MAX_DEPTH + 5), 4 * MAX_DEPTH + 5, "nested"),
        ("a \x1b b", 3, "\\x1b"),
        ("a −", 3, "−"),
    ],
)
def test_what_cannot_be_read(text: str, column: int, words: str) -> None:
    with pytest.raises(FormulaError) as caught:
        parse(text)
    assert words in str(caught.value)
    assert caught.value.column == column
    assert str(caught.value).isprintable()


def test_what_facts_alone_make_worthless_is_known_before_power() -> None:
    formula = parse("volts / (mains.voltage - 230 V)")
    formula.check({})
    with pytest.raises(FormulaError, match="division by zero") as caught:
        formula.check({"mains.voltage": 230.0})
    assert caught.value.column == 7


def test_long_but_allowed() -> None:
    text = "+".join(["a"] * 150)
    assert parse(text).si({"a": 2.0}) == 300.0
    assert parse("(" * MAX_DEPTH + "a" + ")" * MAX_DEPTH).si({"a": 2.0}) == 2.0


@pytest.mark.parametrize(
    ("text", "column", "words"),
    [
        ("volts + amps", 7, ("voltage", "current", "'+'")),
        ("volts - 1", 7, ("voltage", "number")),
        ("min(volts, amps)", 1, ("voltage", "current", "min")),
        ("min(volts, volts, amps)", 1, ("voltage", "current")),
        ("sqrt(volts)", 1, ("square root",)),
        ("copper-at-20(ambient, coil)", 1, ("resistance", "temperature")),
        ("copper-at-20(coil, 25)", 1, ("temperature", "number")),
        ("1 + nothing", 5, ("nothing",)),
        ("volts-amps", 1, ("volts - amps", "spaces")),
        ("time-40-to-90-coil", 1, ("time-40-to-90 - coil",)),
        ("coil-2", 1, ("coil - 2",)),
        ("coil ** 2 + volts", 11, ("something in", "kg2.m4.s-6.A-4")),
    ],
)
def test_what_does_not_fit(text: str, column: int, words: tuple[str, ...]) -> None:
    with pytest.raises(FormulaError) as caught:
        parse(text).dimension(DIMENSIONS)
    for word in words:
        assert word in str(caught.value)
    assert caught.value.column == column


@pytest.mark.parametrize(
    ("text", "column", "words"),
    [
        ("1 / (a - 3)", 3, "division by zero"),
        ("0 ** -1", 3, "division by zero"),
        ("sqrt(a - 4)", 1, "negative"),
        ("a * 1e300 * 1e300", 11, "finite"),
        ("(a * 1e300) ** 2", 13, "too large"),
        ("copper-at-20(coil, 30 K)", 1, "-235"),
        ("missing + 1", 1, "'missing'"),
    ],
)
def test_what_has_no_value(text: str, column: int, words: str) -> None:
    with pytest.raises(FormulaError) as caught:
        parse(text).si(VALUES)
    assert words in str(caught.value)
    assert caught.value.column == column


def test_against_pythons_own_arithmetic() -> None:
    """Random formulas without units mean what Python's own parser makes of the same text."""
    rng = random.Random(20)

    def make(depth: int) -> str:
        if depth == 0 or rng.random() < 0.25:
            return f"{rng.uniform(0.5, 9):.3f}"
        kind = rng.choice(["+", "-", "*", "/", "()", "neg", "**"])
        if kind == "()":
            return f"({make(depth - 1)})"
        if kind == "neg":
            return f"-{make(depth - 1)}"
        if kind == "**":
            return f"({make(depth - 1)}) ** {rng.randint(-2, 3)}"
        return f"{make(depth - 1)} {kind} {make(depth - 1)}"

    compared = 0
    for _ in range(400):
        text = make(5)
        if len(text) > MAX_LENGTH:
            continue
        try:
            found = parse(text).si({})
        except FormulaError:
            continue  # deeper than allowed, or no value
        expected = eval(text)  # the text holds numbers and operators alone
        assert found == expected or math.isclose(found, expected, rel_tol=1e-12), text
        compared += 1
    assert compared > 300
