"""Onset, plateau, overshoot and leak rate, on courses whose truth is known, with noise; and a leak in figures."""

from __future__ import annotations

import math

import numpy as np
import pytest

from rig.waveforms.curves import Found, leak_rate, onset, overshoot, plateau


def covered(found: Found, truth: float) -> bool:
    return abs(found.value - truth) <= 2.6 * found.u + 1e-12


@pytest.mark.parametrize("seed", range(10))
def test_onset_of_a_fill(seed: int) -> None:
    """A jug on a scale: nothing for 7.3 s, then 4.2 g/s, weighed every 200 ms with 0.3 g of noise."""
    t = np.arange(0, 60, 0.2)
    mass = np.maximum(0.0, t - 7.3) * 4.2 + np.random.default_rng(seed).normal(0, 0.3, t.size)
    found = onset(t.tolist(), mass.tolist())
    assert covered(found, 7.3)
    assert found.u < 0.3


def test_what_does_not_begin() -> None:
    t = np.arange(0, 60, 0.2)
    with pytest.raises(ValueError, match="does not begin"):
        onset(t.tolist(), np.random.default_rng(1).normal(20, 0.3, t.size).tolist())
    with pytest.raises(ValueError, match="begins after"):
        onset(t.tolist(), (4.2 * t + 5).tolist())


def heated(seed: int, beyond: float) -> tuple[list[float], list[float]]:
    """A chamber that warms to 134.8 Cel, overshoots by ``beyond`` and settles; a point a second."""
    t = np.arange(0, 900, 1.0)
    rise = 134.8 - 110.0 * np.exp(-t / 100.0)
    swing = (beyond + 110.0 * math.exp(-4.2)) * np.exp(-(((t - 420.0) / 40.0) ** 2))
    return t.tolist(), (rise + swing + np.random.default_rng(seed).normal(0, 0.03, t.size)).tolist()


@pytest.mark.parametrize("seed", range(5))
def test_plateau_and_overshoot(seed: int) -> None:
    t, v = heated(seed, 1.5)
    assert plateau(t, v).value == pytest.approx(134.8, abs=0.1)
    assert overshoot(t, v).value == pytest.approx(1.5, abs=0.25)
    assert overshoot(*heated(seed, -2.0)).value < 0.2


def leaking(first: float, rate: float, wait_rise: float, seed: int = 0) -> tuple[list[float], list[float]]:
    """p in Pa over 15 min, a point each 5 s: ``wait_rise`` more in the first five minutes than the leak alone."""
    t = np.arange(0, 901, 5.0)
    extra = wait_rise * np.minimum(1.0, t / 290.0)
    return t.tolist(), (first + rate * t + extra + np.random.default_rng(seed).normal(0, 8.0, t.size)).tolist()


@pytest.mark.parametrize(("p2", "p3", "rate"), [(5.0, 6.2, 0.12), (5.0, 6.31, 0.131)])
def test_leak_in_figures(p2: float, p3: float, rate: float) -> None:
    """0.013 bar in 10 min are 1.3 mbar/min are 0.13 kPa/min (HTM 2010): 5.0 to 6.2 kPa is 0.12, to 6.31 kPa 0.131."""
    per_second = (p3 - p2) * 1e3 / 600.0
    found = leak_rate(*leaking(p2 * 1e3 - 300 * per_second, per_second, 0.0))
    assert found.value * 60 / 1e3 == pytest.approx(rate, abs=5e-4)
    assert covered(found, per_second)
    assert found.remark == ""


def test_condensate_is_told_from_a_leak() -> None:
    found = leak_rate(*leaking(4e3, 1.0, 2.6e3))
    assert "condensate" in found.remark
    assert found.value == pytest.approx(1.0, abs=0.05)
    assert leak_rate(*leaking(4e3, 1.0, 1e3)).remark == ""


@pytest.mark.parametrize("seed", range(20))
def test_the_uncertainty_of_a_rate_covers_it(seed: int) -> None:
    assert covered(leak_rate(*leaking(4e3, 1.7, 0.0, seed)), 1.7)


@pytest.mark.parametrize(
    ("times", "values", "words"),
    [
        ([0.0, 1.0], [1.0, 2.0], "8 finite points"),
        ([float(n) for n in range(20)], [math.nan] * 20, "8 finite points"),
        ([0.0] * 20, [1.0] * 20, "must rise"),
        ([float(n) for n in range(300)], [1.0] * 300, "15 min"),
    ],
)
def test_what_is_no_course(times: list[float], values: list[float], words: str) -> None:
    with pytest.raises(ValueError, match=words):
        leak_rate(times, values)
