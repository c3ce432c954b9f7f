"""What a decision is worth now, and what it would be worth after one more look."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

Vector = NDArray[np.float64]


def after_look(belief: Vector, table: Vector, worth: Callable[[Vector], float]) -> float:
    """The expected worth of a belief once an observation is made: the sum over outcomes of P(outcome) times the worth
    of the belief that it leaves (H. Raiffa, Decision Analysis, 1968). ``belief`` is (hypotheses,), ``table`` is
    P(outcome | hypothesis), (hypotheses, outcomes); ``worth`` tells what a belief is worth if one acts on it best.
    """
    joint = belief[:, None] * table
    chances = joint.sum(axis=0)
    return float(sum(p * worth(joint[:, n] / p) for n, p in enumerate(chances) if p > 1e-9))


def best_act(pay: Vector) -> Callable[[Vector], float]:
    """The worth of a belief where one of a few acts is chosen: ``pay`` is (acts, hypotheses)."""
    return lambda belief: float(np.max(pay @ belief))
