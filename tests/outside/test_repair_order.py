"""Chance over cost: J. B. Kadane and H. A. Simon (1977); D. Heckerman, J. Breese and K. Rommelse (1995). The example's
expected costs (9.15 in the best order, 11.65 by chance, 9.60 by cost, 12.95 in the worst) were checked by enumerating
all 24 orders. Covers that are paid once: T. J. Ottosen and F. V. Jensen (2012), against enumeration, too.
"""

from __future__ import annotations

from itertools import permutations

import numpy as np
import pytest

from rig.diagnosis.repair import Trial, expected_minutes, in_order

CHANCES, COSTS = (0.45, 0.25, 0.2, 0.1), (9.0, 2.0, 5.0, 0.5)
TRIALS = [Trial(f"r{n}", p, c) for n, (p, c) in enumerate(zip(CHANCES, COSTS, strict=True), 1)]


def test_the_example() -> None:
    order = in_order(TRIALS, {})
    assert [t.remedy for t in order] == ["r4", "r2", "r1", "r3"]
    assert expected_minutes(order, {}) == pytest.approx(9.15)
    assert expected_minutes(sorted(TRIALS, key=lambda t: -t.chance), {}) == pytest.approx(11.65)
    assert expected_minutes(sorted(TRIALS, key=lambda t: t.minutes), {}) == pytest.approx(9.60)
    every = [expected_minutes(p, {}) for p in permutations(TRIALS)]
    assert min(every) == pytest.approx(9.15)
    assert max(every) == pytest.approx(12.95)


@pytest.mark.parametrize("seed", range(20))
def test_no_order_is_cheaper(seed: int) -> None:
    stream = np.random.default_rng(seed)
    chances = stream.dirichlet(np.ones(6))
    trials = [Trial(f"r{n}", float(p), float(stream.uniform(1, 60))) for n, p in enumerate(chances)]
    ours = expected_minutes(in_order(trials, {}), {})
    assert ours == pytest.approx(min(expected_minutes(p, {}) for p in permutations(trials)))


@pytest.mark.parametrize("seed", range(20))
def test_with_covers_no_order_is_cheaper(seed: int) -> None:
    """Two covers and some parts outside: the order that opens a cover when its best share is worth it."""
    stream = np.random.default_rng(100 + seed)
    chances = stream.dirichlet(np.ones(6))
    under = (None, None, "side", "side", "top", "top")
    access = {"side": float(stream.uniform(1, 30)), "top": float(stream.uniform(1, 30))}
    trials = [Trial(f"r{n}", float(p), float(stream.uniform(1, 60)), under[n]) for n, p in enumerate(chances)]
    ours = expected_minutes(in_order(trials, access), access)
    assert ours == pytest.approx(min(expected_minutes(p, access) for p in permutations(trials)))
