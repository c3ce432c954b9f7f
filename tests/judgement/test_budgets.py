"""Budgets: what is one error, what is one statement, what stands alone."""

from __future__ import annotations

import math
import random

import pytest

from rig.judgement.accuracy import Statement, Term
from rig.uncertainty import Line, line, scatter, total, welch_satterthwaite

METER = Statement(
    "meter, ohms, 10 Ohm",
    (Term("share of reading", 1e-4, 0.0, ""), Term("share of range", 0.0, 1e-3, "")),
)


def difference(a: float, b: float) -> float:
    """u of a reading of ``a`` less one of ``b`` by the same meter."""
    return total([*METER.lines(a), *(each.scaled(-1.0) for each in METER.lines(b))])[0]


def test_one_reading_has_the_sum_of_the_statement_as_one_rectangle() -> None:
    assert total(METER.lines(5.0))[0] == pytest.approx((5e-4 + 1e-3) / math.sqrt(3))


def test_a_common_zero_drops_out_of_a_difference_and_a_common_gain_out_of_a_ratio() -> None:
    assert difference(5.0, 5.0) == pytest.approx(0.0, abs=1e-15)
    assert difference(5.0, 2.0) == pytest.approx(3e-4 / math.sqrt(3))
    a, b = 8.0, 4.0
    lines = [
        *(each.scaled(1 / b) for each in METER.lines(a)),
        *(each.scaled(-a / b**2) for each in METER.lines(b)),
    ]
    assert total(lines)[0] == pytest.approx(1e-3 * abs(1 / b - a / b**2) / math.sqrt(3))


def test_readings_of_both_signs_are_not_taken_for_alike() -> None:
    """The gain of +5 V less -5 V is met twice the same way: by hand 10 V times the share, the zero drops out."""
    assert difference(5.0, -5.0) == pytest.approx(1e-3 / math.sqrt(3))


def test_two_meters_add_by_squares() -> None:
    other = Statement("another meter", METER.terms)
    both = [*METER.lines(5.0), *other.lines(5.0)]
    assert total(both)[0] == pytest.approx(math.sqrt(2) * total(METER.lines(5.0))[0])


def test_degrees_of_freedom() -> None:
    values = [5.0, 5.1, 4.9]
    alone = scatter(values)
    assert total([alone])[1] == pytest.approx(2.0)
    u, dof = total([alone, line("clock", 0.1)])
    assert dof == pytest.approx(welch_satterthwaite([(alone.u, 2.0), (0.1 / math.sqrt(3), None)]))
    assert u == pytest.approx(math.hypot(alone.u, 0.1 / math.sqrt(3)))
    assert total([line("a", 1.0)])[1] is None
    assert total([]) == (0.0, None)


def test_lines_without_an_origin_stand_alone() -> None:
    assert total([Line("a", 3.0), Line("a", 4.0)])[0] == pytest.approx(5.0)
    assert total([Line("a", 3.0, origin="x"), Line("a", 4.0, origin="x", sensitivity=-1.0)])[0] == pytest.approx(1.0)


CELL = Statement(
    "cell, mass", (Term("limit of error", 0.0, 0.9, ""), Term("drift", 0.0, 0.1, "", drifts=True)), step=0.0
)


def test_what_drifts_stays_in_a_difference_and_one_reading_has_the_whole_limit() -> None:
    """By hand: 1 g of error in all, of which 0.2 g from end to end moves between two readings."""
    assert total(CELL.lines(400.0))[0] == pytest.approx(1.0 / math.sqrt(3))
    assert total([*CELL.lines(400.0), *(each.scaled(-1.0) for each in CELL.lines(397.0))])[0] == pytest.approx(
        0.2 / math.sqrt(3)
    )
    assert CELL.drift == pytest.approx(0.2)
    assert METER.drift is None


def slope_of(errors: list[float]) -> float:
    """Slope of least squares per record length, of errors at evenly spaced times."""
    n = len(errors)
    middle, mean = (n - 1) / 2, math.fsum(errors) / n
    square = math.fsum((k - middle) ** 2 for k in range(n))
    return math.fsum((k - middle) * (e - mean) for k, e in enumerate(errors)) / square * (n - 1)


def test_no_error_within_its_drift_tilts_a_line_by_more_than_the_slope_line_says() -> None:
    most = CELL.slope_line(600.0).u * math.sqrt(3.0) * 600.0
    step = [-0.1] * 300 + [0.1] * 300
    assert slope_of(step) == pytest.approx(most, rel=0.01)  # the worst one
    source = random.Random("wandering errors")
    for _ in range(300):
        walk = [0.0]
        while len(walk) < 300:
            walk.append(walk[-1] + source.choice((source.gauss(0, 1), 0.0, 30.0 * (source.random() < 0.01))))
        low, high = min(walk), max(walk)
        assert abs(slope_of([0.2 * (e - low) / (high - low or 1.0) for e in walk])) <= most * 1.001


def test_without_a_stated_drift_a_slope_has_the_limit_of_error_at_both_ends() -> None:
    assert METER.slope_line(10.0).share == pytest.approx(math.sqrt(2) * 1e-3 / math.sqrt(3) / 10.0)
