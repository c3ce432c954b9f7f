from __future__ import annotations

import pytest

from rig.events import Reading
from rig.limits import Limit
from rig.shown.numbers import (
    distance_text,
    limit_text,
    minutes_text,
    reading_text,
    shown_together,
    significant,
    unit_text,
)


@pytest.mark.parametrize(
    ("value", "u", "code", "bound", "text"),
    [
        (82.4123, 0.052, "s", None, "82.41 ± 0.10 s"),
        (0.0748, 0.0006, "Ohm", None, "0.0748 ± 0.0012 Ω"),
        (1502.3, 18.6, "W", None, "1502 ± 37 W"),
        (15023.0, 186.0, "W", None, "15020 ± 370 W"),
        (22.99, 0.175, "Cel", None, "22.99 ± 0.35 °C"),
        (1.0, 0.0498, "V", None, "1.00 ± 0.10 V"),  # 0.0996 rounds to 0.10, with its two digits
        (12.0, 0.0, "V", None, "12 V"),
        (1000.0, 5.0, "Ohm", "more than", "more than 1000 Ω"),
        (3.0, 0.1, "1", None, "3.00 ± 0.20"),
        (-0.00001, 0.05, "A", None, "0.00 ± 0.10 A"),
    ],
)
def test_a_reading(value: float, u: float, code: str, bound: str | None, text: str) -> None:
    # two significant digits of uncertainty, the value to match: GUM (JCGM 100:2008), 7.2.6
    assert reading_text(value, 2 * u, code, bound, fancy=True) == text


def test_a_reading_and_its_limit_stand_in_the_authors_unit() -> None:
    reading = Reading(0.19, "K/s", 0.001, "")
    shown = shown_together(reading, Limit(9.5 / 60, None, "K/s", "x", shown_in="K/min"))
    assert shown.unit == "K/min"
    assert shown.value == pytest.approx(11.4)
    assert shown.expanded == pytest.approx(2 * 0.06)
    assert shown.limit is not None
    assert limit_text(shown.limit, fancy=True) == "≥ 9.5 K/min"


def test_an_uncertainty_of_a_temperature_is_not_moved_by_the_zero_of_its_scale() -> None:
    shown = shown_together(Reading(20.0, "Cel", 0.2, ""), Limit(10.0, 35.0, "Cel", "x", shown_in="°C"))
    assert (shown.value, shown.expanded) == (20.0, 0.4)


def test_a_unit_that_does_not_fit_leaves_both_as_they_are() -> None:
    limit = Limit(1.0, None, "A", "x", shown_in="mA")
    shown = shown_together(Reading(20.0, "V", 0.2, ""), limit)
    assert (shown.value, shown.unit, shown.limit) == (20.0, "V", limit)


@pytest.mark.parametrize(
    ("limit", "fancy", "ascii_"),
    [
        (Limit(60.0, 120.0, "s", "x"), "60–120 s", "60..120 s"),
        (Limit(None, 0.2, "Ohm", "x"), "≤ 0.2 Ω", "<= 0.2 Ohm"),
        (Limit(33.535, 38.83, "Ohm", "x"), "33.535–38.83 Ω", "33.535..38.83 Ohm"),
        (Limit(-0.02, 0.02, "Ohm", "x"), "-0.02..0.02 Ω", "-0.02..0.02 Ohm"),
    ],
)
def test_a_limit(limit: Limit, fancy: str, ascii_: str) -> None:
    assert limit_text(limit, fancy=True) == fancy
    assert limit_text(limit, fancy=False) == ascii_
    assert limit_text(limit, fancy=False).isascii()


@pytest.mark.parametrize(
    ("value", "limit", "text"),
    [
        (14.1, Limit(20.4, 28.8, "V", "x"), "6.3 V below the least allowed 20.4 V"),
        (30.0, Limit(20.4, 28.8, "V", "x"), "1.2 V above the most allowed 28.8 V"),
        (0.0, Limit(336.0, 504.0, "g", "x"), "336 g below the least allowed 336 g"),
        (20.5, Limit(20.4, 28.8, "V", "x"), "0.1 V above the least allowed 20.4 V"),
        (0.3, Limit(None, 0.2, "Ohm", "x"), "0.1 Ω above the most allowed 0.2 Ω"),
    ],
)
def test_a_distance(value: float, limit: Limit, text: str) -> None:
    assert distance_text(value, limit, fancy=True) == text


def test_small_things() -> None:
    assert significant(1234.5678, 3) == "1230"
    assert significant(0.0, 3) == "0"
    assert significant(1.5e12, 3) == "1.5e+12"
    assert unit_text("Ohm", fancy=True) == "Ω"
    assert unit_text("no-unit", fancy=True) == "no-unit"
    assert [minutes_text(s) for s in (-1, 5, 425, 4025)] == ["0:00", "0:05", "7:05", "1:07:05"]


def test_few_readings_widen_what_is_shown() -> None:
    """k = 2.26 at 9 degrees of freedom for 95 % (Student's t, GUM table G.2), here 2.32 for 95.45 %."""
    shown = shown_together(Reading(20.0, "V", 0.1, "", dof=9.0), None)
    assert shown.expanded == pytest.approx(0.232, abs=0.001)
