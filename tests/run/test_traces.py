"""The one number of a trace: the dip of a valve's current, and a slope."""

from __future__ import annotations

import math
import random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rig.run.traces import dip, slope


def coil(seats: bool, noise: float = 0.0, after: float = 0.02) -> list[float]:
    """A coil's current switched on at ``after`` s, 5 kHz: exponential rise, and a notch where a plunger seats."""
    source = random.Random(4)
    values = []
    for n in range(1500):
        t = n / 5000 - after
        value = 0.0 if t < 0 else 0.417 * (1 - math.exp(-t / 0.008))
        if seats and 0.007 < t < 0.016:
            value -= 0.11 * math.sin(math.pi * (t - 0.007) / 0.009)
        values.append(value + source.gauss(0, noise))
    return values


def test_a_seating_plunger_dips_and_a_stuck_one_does_not() -> None:
    assert dip(coil(True)) > 0.03
    assert dip(coil(False)) == 0.0
    assert dip([0.0] * 100) == 0.0


def test_noise_and_single_wild_samples_are_no_dip() -> None:
    assert dip(coil(False, noise=1e-4)) < 2e-3
    wild = coil(False)
    wild[700] = 0.0
    assert dip(wild) == 0.0


def test_switching_off_is_no_dip() -> None:
    assert dip([*coil(False), *([0.0] * 200)]) == 0.0


@given(st.lists(st.floats(-1, 1), min_size=1, max_size=60), st.floats(0.1, 3))
def test_a_dip_scales_and_is_never_negative(values: list[float], factor: float) -> None:
    deep = dip(values)
    assert deep >= 0
    assert dip([factor * v for v in values]) == pytest.approx(factor * deep, abs=1e-9)


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
