"""Every unit against pint, and every code against the grammar of UCUM.

pint 0.24 and later takes its factors from its own definition files (BIPM, SI Brochure 9, 2019). UCUM is the Unified
Code for Units of Measure, version 2.1, case sensitive codes (ucum.org/ucum): where it writes a unit otherwise than
people do, the table below says so.
"""

from __future__ import annotations

import math
import random
import re

import pint
import pytest

from rig.quantities import UNITS, Quantity, Unit, canonical, convert, parse, unit

REGISTRY = pint.UnitRegistry()

# Our code, as pint writes it, where that differs. UCUM writes Ohm for the ohm, Cel for the degree Celsius, a full stop
# for a product, u for micro, and takes l and L alike.
AS_PINT = {
    "Ohm": "ohm", "mOhm": "mohm", "kOhm": "kohm", "MOhm": "Mohm", "Cel": "degC", "W.h": "W*h", "%": "percent",
    "1": "dimensionless", "kg/m3": "kg/m**3",
}  # fmt: skip

DIMENSIONS = ("[mass]", "[length]", "[time]", "[current]", "[temperature]")


def in_pint(word: Unit) -> pint.Unit:
    return REGISTRY.Unit(AS_PINT.get(word.code, word.code))


@pytest.mark.parametrize("ours", UNITS, ids=[u.code for u in UNITS])
def test_factor_offset_and_dimension(ours: Unit) -> None:
    theirs = in_pint(ours)
    for value in (0.0, 1.0, 37.25):
        si = REGISTRY.Quantity(value, theirs).to_base_units().magnitude
        assert Quantity(value, ours.code).si == pytest.approx(si, rel=1e-12, abs=1e-15)
    found = tuple(theirs.dimensionality.get(d, 0) for d in DIMENSIONS)
    assert found == ours.dimension
    assert set(theirs.dimensionality) <= set(DIMENSIONS)


def test_the_offset_of_celsius() -> None:
    """0 Cel is 273.15 K exactly (SI Brochure 9, 2.3.1); a difference of 1 K is one of 1 degree Celsius."""
    assert Quantity(0.0, "Cel").si == 273.15
    assert Quantity(-273.15, "Cel").si == 0.0
    assert (unit("Cel").factor, unit("K").factor, unit("K").offset) == (1, 1, 0)
    with pytest.raises(ValueError, match="cannot be given"):
        convert(20.0, "Cel", "K")
    with pytest.raises(ValueError, match="cannot be given"):
        convert(20.0, "K", "Cel")


def test_every_conversion_between_units_of_one_quantity() -> None:
    rng = random.Random(7)
    for a in UNITS:
        for b in (u for u in UNITS if u.quantity == a.quantity):
            value = rng.uniform(-500, 500)
            theirs = REGISTRY.Quantity(value, in_pint(a)).to(in_pint(b)).magnitude
            assert convert(value, a.code, b.code) == pytest.approx(theirs, rel=1e-12, abs=1e-12)
            back = convert(convert(value, a.code, b.code), b.code, a.code)
            assert back == pytest.approx(value, rel=1e-12, abs=1e-12)


def test_units_of_different_dimension_do_not_convert() -> None:
    for a in UNITS:
        for b in UNITS:
            if a.dimension != b.dimension:
                with pytest.raises(ValueError, match="cannot be given"):
                    convert(1.0, a.code, b.code)


@pytest.mark.parametrize(
    ("text", "value", "code"),
    [
        ("24 V", 24.0, "V"), ("24V", 24.0, "V"), ("0.5 mbar/min", 0.5, "mbar/min"), ("80%", 80.0, "%"), ("3", 3.0, "1"),
        ("-5 °C", -5.0, "Cel"), ("+1e3 Ω", 1000.0, "Ohm"), (".5 kΩ", 0.5, "kOhm"), ("10 µA", 10.0, "uA"),
        ("3 l/min", 3.0, "L/min"), ("2 Wh", 2.0, "W.h"), (" 7 g/ml ", 7.0, "g/mL"),
    ],
)  # fmt: skip
def test_what_people_write(text: str, value: float, code: str) -> None:
    assert parse(text) == Quantity(value, code)
    assert parse(str(parse(text))) == parse(text)


def test_every_spelling_means_one_unit_and_every_quantity_has_one_canonical_unit() -> None:
    words = [w for u in UNITS for w in (u.code, *u.spellings)]
    assert len(words) == len(set(words))
    for u in UNITS:
        assert unit(canonical(u.code)).quantity == u.quantity
        assert canonical(canonical(u.code)) == canonical(u.code)
        # to the unit itself a number comes back untouched
        assert convert(0.1 + 0.2, u.code, u.code) == 0.1 + 0.2


# UCUM 2.1: prefixes (table 1), base and derived units (tables 2 to 5), the ones that take no prefix apart.
PREFIXES = ("k", "h", "c", "m", "u", "M", "")
METRIC = ("m", "s", "g", "A", "K", "Cel", "V", "W", "J", "Hz", "Pa", "Ohm", "S", "L", "bar")
NOT_METRIC = ("min", "h", "d", "%", "1")
_ATOM = "|".join([*(p + u for p in PREFIXES for u in METRIC), *map(re.escape, NOT_METRIC)])


@pytest.mark.parametrize("ours", UNITS, ids=[u.code for u in UNITS])
def test_the_code_is_a_term_of_ucum(ours: Unit) -> None:
    assert re.fullmatch(rf"(?:{_ATOM})[23]?(?:[./](?:{_ATOM})[23]?)*", ours.code)
    assert ours.code.isascii()


@pytest.mark.parametrize(
    ("word", "near"),
    [
        ("mBar", "mbar"),
        ("v", "V"),
        ("Volt", "V"),
        ("Ohms", "Ohm"),
        ("secs", "s"),
        ("minutes", "min"),
        ("g/mn", "g/min"),
    ],
)
def test_the_unit_that_was_perhaps_meant(word: str, near: str) -> None:
    with pytest.raises(ValueError, match=f"nearest is '{near}'"):
        unit(word)


def test_numbers_that_are_none() -> None:
    for text in ("", "V", "one V", "1e999 V", "1e308 MOhm", "nan V", "inf", "--3 V", "0x10 V", "1_000 V", "1,5 V"):
        with pytest.raises(ValueError, match=r"expected|unknown unit"):
            parse(text)
    assert math.isfinite(parse("1e300 V").si)
