"""Did the plunger move? On simulated coils of every variant, over seeds, supplies and temperatures.

The long form: RIG_PLUNGERS=2000 pytest tests/waveforms/test_plunger.py
"""

from __future__ import annotations

import os
import random

import numpy as np
import pytest

from rig.waveforms.coil import dip, dip_by_noise, noise, rise
from rig.waveforms.plunger import Moved, on_ac, on_dc, on_rectified
from tests.waveforms.coils import HERTZ, INTERVAL, VARIANTS, recorded

SEEDS = int(os.environ.get("RIG_PLUNGERS", "12"))
FIRST = int(os.environ.get("RIG_SEED", "0"))  # other coils with each
LONG = SEEDS > 100


def answer(variant: str, values: list[float]) -> Moved:
    if variant == "AC coil":
        return on_ac(values, INTERVAL, 1 / HERTZ)
    if variant.endswith("AC"):
        return on_rectified(values, INTERVAL, 1 / HERTZ)
    return on_dc(values, INTERVAL)


@pytest.mark.parametrize("variant", VARIANTS)
@pytest.mark.timeout(0 if LONG else 120)
def test_the_answer_is_right(variant: str) -> None:
    """At least 995 in 1 000, of coils that are free and of coils that are stuck; with few seeds, all of them."""
    wrong = []
    for seed in range(FIRST, FIRST + SEEDS):
        one = recorded(variant, seed, stuck=bool(seed % 2))
        found = answer(variant, one.values)
        if found.moved is not one.moved:
            wrong.append((seed, one.moved, found))
    assert len(wrong) <= 0.005 * SEEDS, wrong[:5]


@pytest.mark.parametrize("variant", VARIANTS)
def test_no_current_is_no_answer(variant: str) -> None:
    source = random.Random(1)
    found = answer(variant, [source.gauss(0, 1e-5) for _ in range(1400)])
    assert found.moved is None
    assert found.why == "no current"


@pytest.mark.parametrize("sigma", [1e-5, 1e-3])
def test_the_false_alarm_rate_of_noise_is_kept(sigma: float) -> None:
    """Records that only rise: the dip that noise makes exceeds its bound less often than one in twenty, as asked."""
    source, bound = np.random.default_rng(5), dip_by_noise(400, sigma, 0.05)
    t = np.arange(400) * 5e-4
    deeper = sum(dip(0.4 * (1 - np.exp(-t / 8e-3)) + source.normal(0, sigma, 400)) > bound for _ in range(400))
    assert deeper <= 400 * 0.05 + 3 * (400 * 0.05 * 0.95) ** 0.5


def test_time_constant_of_a_plain_coil() -> None:
    """An RL circuit has 63.2 % of its end value after L/R; early and late are the same where nothing moves."""
    t = np.arange(3000) * 1e-4 - 0.01
    values = np.where(t > 0, 0.4 * (1 - np.exp(-np.maximum(t, 0) / 6e-3)), 0.0)
    found = rise(values + np.random.default_rng(2).normal(0, 2e-5, 3000), 1e-4)
    assert found.early is not None
    assert found.late is not None
    assert found.growth is not None
    assert found.early[0] == pytest.approx(6e-3, rel=5e-3)
    assert found.late[0] == pytest.approx(6e-3, rel=2e-2)
    assert abs(found.growth[0] - 1) < 4 * found.growth[1] + 0.01
    assert found.holding == pytest.approx(0.4, abs=1e-4)


@pytest.mark.parametrize("sigma", [1e-5, 3e-4])
def test_the_uncertainty_of_the_growth_covers_it(sigma: float) -> None:
    source, t = np.random.default_rng(8), np.arange(1400) * 2e-4 - 0.01
    values = np.where(t > 0, 0.4 * (1 - np.exp(-np.maximum(t, 0) / 6e-3)), 0.0)
    clean = rise(values, 2e-4).growth
    assert clean is not None
    inside = 0
    for _ in range(200):
        growth = rise(values + source.normal(0, sigma, 1400), 2e-4).growth
        assert growth is not None
        inside += abs(growth[0] - clean[0]) <= 2 * growth[1]
    assert inside >= 180


def test_noise_is_that_of_the_record() -> None:
    source, t = np.random.default_rng(3), np.arange(1000)
    assert noise(source.normal(0, 1e-3, 1000) + 1e-4 * t) == pytest.approx(1e-3, rel=0.15)


@pytest.mark.parametrize("values", [[0.0] * 10, [float("nan")] * 50])
def test_what_is_no_record(values: list[float]) -> None:
    with pytest.raises(ValueError, match="finite values"):
        rise(values, 1e-4)
