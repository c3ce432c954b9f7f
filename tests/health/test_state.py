"""What the charts say of a new check: nothing of a quiet part, a warning before a limit is crossed, bad beyond it."""

from __future__ import annotations

import random

import pytest

from rig.health.charts import FEWEST, state

LOW, HIGH = 99.7, 100.3


def quiet(seed: int, n: int = 30) -> list[float]:
    source = random.Random(seed)
    return [source.gauss(100.02, 0.01) for _ in range(n)]


def test_few_checks_are_judged_by_the_limits_alone() -> None:
    assert state([100.0] * (FEWEST - 1), 100.25, LOW, HIGH).warning == ""
    assert state([], 100.31, LOW, HIGH).bad


def test_a_quiet_part_seldom_warns() -> None:
    """Three standard deviations on a value and on its average: false alarms stay rare."""
    warned = sum(bool(state(quiet(s), random.Random(-s).gauss(100.02, 0.01), LOW, HIGH).warning) for s in range(300))
    assert warned <= 12


@pytest.mark.parametrize("seed", range(20))
def test_a_part_that_drifts_warns_before_it_crosses_its_limit(seed: int) -> None:
    values, source = quiet(seed), random.Random(seed)
    for n in range(1, 200):
        newest = 100.02 + 0.004 * n + source.gauss(0, 0.01)
        found = state(values[-40:], newest, LOW, HIGH)
        assert not found.bad, "the limit was crossed without a warning"
        if found.warning:
            assert "drift" in found.warning or "unlike" in found.warning
            return
        values.append(newest)
    pytest.fail("never warned")


def test_a_jump_warns_at_once() -> None:
    found = state(quiet(1), 100.2, LOW, HIGH)
    assert "unlike its earlier checks" in found.warning
    assert not found.bad


def test_equal_values_do_not_make_a_chart_without_width() -> None:
    assert state([100.0] * 20, 100.0004, LOW, HIGH, floor=0.001).warning == ""


def test_a_part_that_scatters_as_far_as_its_limits_warns() -> None:
    values = [100.0 + (0.15 if n % 2 else -0.15) for n in range(20)]
    assert "scatters as far as its limits" in state(values, 100.1, LOW, HIGH).warning
