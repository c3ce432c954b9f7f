"""Two causes at once: how an observation comes out when either alone would make it so or so.

A noisy-or with a leak (J. Pearl, Probabilistic Reasoning in Intelligent Systems, 1988, 4.3.2; M. Henrion, 1989):
an observation is normal only if neither cause, nor what goes wrong in healthy units anyway, upsets it. With several
abnormal outcomes each source brings its own, and where two sources bring different ones the stronger shows: none
before intermittent before low and high, and of these two either with an even chance. This is the noisy-max of
F. J. Díez (1993) over that order. For two outcomes it is the noisy-or exactly.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from rig.plan.causes import Outcome

Table = NDArray[np.float64]
_STRENGTH: dict[Outcome, int] = {"normal": 0, "low": 1, "high": 1, "intermittent": 2, "none": 3}


def without_leak(rows: Table, healthy: Table) -> Table:
    """Rows (n, outcomes) with what healthy units show taken out; normal is the first outcome.

    A cause that makes normal *more* likely than in healthy units is left at certainly normal.
    """
    normal = np.minimum(1.0, rows[:, :1] / healthy[0])
    abnormal = rows[:, 1:].sum(axis=1, keepdims=True)
    share = np.divide(rows[:, 1:], abnormal, out=np.zeros_like(rows[:, 1:]), where=abnormal > 0)
    return np.concatenate([normal, share * (1.0 - normal)], axis=1)


def both(first: Table, second: Table, healthy: Table, outcomes: Sequence[Outcome]) -> Table:
    """P(outcome | both causes) for rows (n, outcomes) of each alone, leaks included, and ``healthy`` (outcomes,)."""
    one = _joined(without_leak(first, healthy), second, outcomes)
    other = _joined(without_leak(second, healthy), first, outcomes)
    normal = first[:, 0] * second[:, 0] / healthy[0]
    mixed = 0.5 * (one + other)
    mixed[:, 0] = np.minimum(1.0, normal)
    left = mixed[:, 1:].sum(axis=1)
    scale = np.divide(1.0 - mixed[:, 0], left, out=np.zeros_like(left), where=left > 0)
    mixed[:, 1:] *= scale[:, None]
    return mixed


def _joined(first: Table, second: Table, outcomes: Sequence[Outcome]) -> Table:
    """Two sources side by side, the stronger outcome shows."""
    found = np.zeros_like(first)
    for i, a in enumerate(outcomes):
        for j, b in enumerate(outcomes):
            mass = first[:, i] * second[:, j]
            if _STRENGTH[a] > _STRENGTH[b] or i == j:
                found[:, i] += mass
            elif _STRENGTH[a] < _STRENGTH[b]:
                found[:, j] += mass
            else:
                found[:, i] += 0.5 * mass
                found[:, j] += 0.5 * mass
    return found
