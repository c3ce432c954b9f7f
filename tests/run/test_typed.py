"""Readings that a person types: what is understood, and what is said about the rest."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rig.quantities import UNITS
from rig.run.readings import by_hand
from rig.run.typed import Typed, number_typed, typed


@pytest.mark.parametrize(
    ("text", "asked", "expected"),
    [
        ("23.7 V ± 0.1 V with DMM 7", "V", Typed(23.7, "V", 0.1, True, "DMM 7")),
        ("23.7 ± 0.1 with DMM 7", "V", Typed(23.7, "V", 0.1, True, "DMM 7")),
        ("23.7 V +- 0.1 V with DMM 7", "V", Typed(23.7, "V", 0.1, True, "DMM 7")),
        ("23.7 V +/-100 mV using  LM-0007 ", "V", Typed(23.7, "V", 0.1, True, "LM-0007")),
        ("23700mV±100mV WITH dmm", "V", Typed(23.7, "V", 0.1, True, "dmm")),
        ("23.7 V with DMM 7", "V", Typed(23.7, "V", 0.05, False, "DMM 7")),
        ("230 V with DMM", "V", Typed(230.0, "V", 0.5, False, "DMM")),
        ("2.3e2 with DMM", "V", Typed(230.0, "V", 5.0, False, "DMM")),
        ("0.42 kOhm with DMM", "Ohm", Typed(420.0, "Ohm", 5.0, False, "DMM")),
        ("50 Ohm ± 2 % with DMM", "Ohm", Typed(50.0, "Ohm", 1.0, True, "DMM")),
        ("21.5 Cel ± 0.5 K with thermometer 2", "Cel", Typed(21.5, "Cel", 0.5, True, "thermometer 2")),
        ("21.5 °C ± 0.5 with thermometer 2", "Cel", Typed(21.5, "Cel", 0.5, True, "thermometer 2")),
        ("-3 mV with DMM", "mV", Typed(-3.0, "mV", 0.5, False, "DMM")),
        ("more than 1 kOhm with DMM 7", "Ohm", Typed(1000.0, "Ohm", 500.0, False, "DMM 7", "more than")),
        ("> 180 s with stop-watch", "s", Typed(180.0, "s", 0.5, False, "stop-watch", "more than")),
        ("less than 0.5 V ± 0.1 V with DMM", "V", Typed(0.5, "V", 0.1, True, "DMM", "less than")),
        ("93.4 s with the watch with a red strap", "s", Typed(93.4, "s", 0.05, False, "the watch with a red strap")),
    ],
)
def test_what_is_understood(text: str, asked: str, expected: Typed) -> None:
    found = typed(text, asked)
    assert (found.value, found.off_by) == pytest.approx((expected.value, expected.off_by))
    assert (found.unit, found.stated, found.instrument, found.bound) == (
        expected.unit, expected.stated, expected.instrument, expected.bound,
    )  # fmt: skip


@pytest.mark.parametrize(
    ("text", "asked", "number", "half"),
    [
        ("0.11", "Ohm", 0.11, 0.005),
        ("110 mOhm", "Ohm", 0.11, 0.0005),
        ("22.5Cel", "Cel", 22.5, 0.05),
        ("5e-5V", "V", 5e-5, 5e-6),
        ("1.5e1 g with scale 2", "g", 15.0, 0.5),
    ],
)
def test_a_plain_number_and_half_of_its_last_digit(text: str, asked: str, number: float, half: float) -> None:
    assert number_typed(text, asked) == pytest.approx((number, half))
    assert by_hand(number, asked, None, text).u == pytest.approx(half / math.sqrt(3))


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("23.7 V ± 0.1 V", "with which instrument"),
        ("23.7 V with ", "with which instrument"),
        ("with DMM 7", "one number"),
        ("23,7 V with DMM 7", "decimal point"),
        ("23.7 V ± 0,1 V with DMM 7", "decimal point"),
        ("23.7 A with DMM 7", "cannot be given in V"),
        ("23.7 V ± 0.1 A with DMM 7", r"in A \(current\), the reading in V"),
        ("23.7 V ± with DMM 7", "after ±"),
        ("23.7 V ± 0 V with DMM 7", "above 0"),
        ("23.7 V ± -1 V with DMM 7", "above 0"),
        ("23.7 ± 0.1 ± 0.2 V with DMM 7", "at most one ±"),
        ("about 23 V with DMM 7", "expected a number"),
        ("\u0662\u0663 V with DMM 7", "expected a number"),
        ("1e300 V with DMM 7", "that an instrument can show"),
        ("1e-400 V with DMM 7", "told from 0"),
        ("1 V ± 1e300 V with DMM 7", "of a size that can be"),
        ("23.7 Volts with DMM 7", "nearest is 'V'"),
        ("0e400 V with DMM", "last digit"),
        ("0e-400 V with DMM", "last digit"),
        ("nan V with DMM", "expected a number"),
        ("1e999 V with DMM", "finite"),
        ("3 V with " + "x" * 61, "longer than 60"),
        ("", "with which instrument"),
    ],
)
def test_what_is_said_about_the_rest(text: str, words: str) -> None:
    with pytest.raises(ValueError, match=words):
        typed(text, "V")


@given(st.text(max_size=60), st.sampled_from([u.code for u in UNITS]))
def test_anything_typed_is_understood_or_refused_in_words(text: str, asked: str) -> None:
    try:
        found = typed(text + " with x", asked)
    except ValueError:
        return  # any other error would fail this test
    assert math.isfinite(found.value)
    assert math.isfinite(found.off_by)
    assert found.off_by > 0
