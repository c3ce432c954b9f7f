"""Two causes at once."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from rig.diagnosis.together import both, without_leak

TWO = ("normal", "high")
FIVE = ("normal", "low", "high", "none", "intermittent")


@given(st.floats(0, 1), st.floats(0, 1), st.floats(0, 0.5))
def test_for_two_outcomes_it_is_the_noisy_or(a: float, b: float, leak: float) -> None:
    rows = [np.array([[(1 - leak) * (1 - p), 1 - (1 - leak) * (1 - p)]]) for p in (a, b)]
    found = both(rows[0], rows[1], np.array([1 - leak, leak]), TWO)[0]
    assert found[1] == pytest.approx(1 - (1 - leak) * (1 - a) * (1 - b), abs=1e-12)


@given(st.lists(st.floats(0.01, 1), min_size=10, max_size=10))
def test_rows_stay_chances_and_the_order_does_not_matter(parts: list[float]) -> None:
    rows = np.array(parts).reshape(2, 5)
    rows /= rows.sum(axis=1, keepdims=True)
    healthy = np.array([0.96, 0.01, 0.01, 0.01, 0.01])
    one = both(rows[:1], rows[1:], healthy, FIVE)
    other = both(rows[1:], rows[:1], healthy, FIVE)
    assert one.sum() == pytest.approx(1.0)
    assert (one >= 0).all()
    assert one == pytest.approx(other)


def test_the_stronger_outcome_shows() -> None:
    healthy = np.array([1.0, 0, 0, 0, 0])
    sure = {o: np.eye(5)[n : n + 1] for n, o in enumerate(FIVE)}
    assert both(sure["none"], sure["low"], healthy, FIVE)[0][3] == 1.0
    assert both(sure["intermittent"], sure["high"], healthy, FIVE)[0][4] == 1.0
    assert both(sure["low"], sure["high"], healthy, FIVE)[0][1:3] == pytest.approx([0.5, 0.5])
    assert both(sure["normal"], sure["low"], healthy, FIVE)[0][1] == 1.0


def test_a_cause_that_does_nothing_leaves_the_other_as_it_is() -> None:
    healthy = np.array([0.9, 0.1])
    row = np.array([[0.2, 0.8]])
    assert both(row, healthy[None, :], healthy, TWO) == pytest.approx(row)
    assert without_leak(healthy[None, :], healthy)[0] == pytest.approx([1.0, 0.0])


def test_a_cause_that_brings_what_else_fails_back_to_normal_does_not_undo_the_other() -> None:
    """A fill that goes through once cold (a hot start) and one that never does: together it does not go through."""
    healthy = np.array([0.95, 0.05])
    found = both(np.array([[0.94, 0.06]]), np.array([[0.07, 0.93]]), healthy, TWO)[0]
    assert found[1] == pytest.approx(0.93, abs=0.01)
