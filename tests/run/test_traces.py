"""Slopes of traces."""

from __future__ import annotations

import pytest

from rig.run.traces import slope


def test_a_slope_against_a_published_example() -> None:
    """JCGM 100:2008, H.3: calibration of a thermometer, slope 0.00218 with standard uncertainty 0.00067."""
    t = [21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511]
    b = [-0.171, -0.169, -0.166, -0.159, -0.164, -0.165, -0.156, -0.157, -0.159, -0.161, -0.160]
    value, u = slope(t, b)
    assert value == pytest.approx(0.00218, abs=5e-6)
    assert u == pytest.approx(0.00067, abs=5e-6)


def test_a_slope_needs_three_points_at_different_times() -> None:
    with pytest.raises(ValueError, match="three"):
        slope([0, 1], [0, 1])
    with pytest.raises(ValueError, match="different"):
        slope([1, 1, 1], [0, 1, 2])
