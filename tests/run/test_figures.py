"""The figures of a trace, with their budgets."""

from __future__ import annotations

import math

import pytest

from rig.judgement.accuracy import Statement, Term
from rig.run.figures import figure
from rig.uncertainty import total

SENSOR = Statement("sensor", (Term("limit of error", 0.0, 0.3, ""),), step=0.01)


def test_lethality_names_its_base_and_z_and_carries_the_sensors_error() -> None:
    """134 Cel for 3 min is F0 58.495 min (base 121.1 Cel, z 10 K); 0.3 K of error is ln(10)/10 of it a kelvin."""
    times = [float(n) for n in range(0, 181, 5)]
    value, unit, lines, remark = figure("lethality", SENSOR, "Cel", times, [134.0] * len(times))
    assert (value / 60, unit) == (pytest.approx(58.495, rel=1e-4), "s")
    assert "base 121.1 Cel and z 10 K" in remark
    u = math.hypot(0.3 / math.sqrt(3), 0.01 / math.sqrt(12))
    assert total(lines)[0] == pytest.approx(value * math.log(10) / 10 * u)


def test_a_gap_in_the_points_counts_for_nothing() -> None:
    value, _, _, remark = figure("lethality", SENSOR, "Cel", [0.0, 10.0, 70.0, 80.0], [121.1] * 4)
    assert value == pytest.approx(20.0)
    assert "60 s without points not counted" in remark


@pytest.mark.parametrize(
    ("how", "value", "unit"),
    [
        ("highest", 27.0, "Cel"),
        ("lowest", 20.0, "Cel"),
        ("last", 27.0, "Cel"),
        ("mean", 23.5, "Cel"),
        ("slope", 0.1, "K/s"),
    ],
)
def test_plain_figures(how: str, value: float, unit: str) -> None:
    times, values = [10.0 * n for n in range(8)], [20.0 + n for n in range(8)]
    found, code, lines, remark = figure(how, SENSOR, "Cel", times, values)
    assert (found, code, remark) == (pytest.approx(value), unit, "")
    assert total(lines)[0] > 0


def test_no_points_no_figure() -> None:
    with pytest.raises(ValueError, match="before its first point"):
        figure("last", SENSOR, "Cel", [], [])
