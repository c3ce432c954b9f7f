"""Control charts against the NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2 and 6.3.2.4."""

from __future__ import annotations

import pytest

from rig.health.charts import ewma, individuals

FLOW = [49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1]


def test_individuals() -> None:
    """6.3.2.2: flow rates; prints UCL 55.8041, LCL 45.8159."""
    chart = individuals(FLOW)
    assert chart.centre == pytest.approx(50.81, abs=1e-9)
    assert chart.moving_range == pytest.approx(1.87778, abs=1e-5)
    assert (chart.lower, chart.upper) == pytest.approx((45.81591, 55.80409), abs=1e-4)


def test_ewma() -> None:
    """6.3.2.4: lambda 0.3, target 50, s 2.0539; prints UCL 52.5884 and LCL 47.4115."""
    values = [52.0, 47.0, 53.0, 49.3, 50.1, 47.0, 51.0, 50.1, 51.2, 50.5, *FLOW]
    printed = [
        50.60, 49.52, 50.56, 50.18, 50.16, 49.21, 49.75, 49.85, 50.26, 50.33,
        50.11, 49.36, 49.52, 50.05, 49.38, 49.92, 50.73, 51.23, 51.94, 51.99,
    ]  # fmt: skip
    chart = ewma(values, 50.0, 2.0539, weight=0.3)
    assert chart.averages == pytest.approx(printed, abs=0.005 + 1e-9)
    assert (chart.lower, chart.upper) == pytest.approx((47.4115, 52.5884), abs=2e-4)


@pytest.mark.parametrize("weight", [0.0, -0.1, 1.5])
def test_a_weight_outside_its_bounds(weight: float) -> None:
    with pytest.raises(ValueError, match="weight"):
        ewma(FLOW, 50.0, 1.0, weight)
