"""The noisy-or of S. Russell and P. Norvig, Artificial Intelligence: A Modern Approach, section on canonical
distributions (fever by cold, flu and malaria; inhibitors 0.6, 0.2, 0.1; the printed table is quoted from memory, its
arithmetic checked), and a diagnosis with three independent causes, computed with pyAgrum 3.3.1's noisy-or network and
by enumeration of all eight states.
"""

from __future__ import annotations

from itertools import product

import numpy as np
import pytest

from rig.diagnosis.evidence import seen
from rig.diagnosis.model import Vector, build
from rig.diagnosis.rank import rank
from rig.diagnosis.together import both
from tests.small_tables import made

TWO = ("normal", "high")


def together(rows: list[Vector], healthy: Vector) -> float:
    """P(effect | the causes of these rows), by joining them one by one."""
    found = healthy[None, :]
    for row in rows:
        found = both(found, row, healthy, TWO)
    return float(found[0, 1])


def row(link: float, leak: float = 0.0) -> Vector:
    """A cause alone, the leak beside it."""
    high = 1 - (1 - leak) * (1 - link)
    return np.array([[1 - high, high]])


def test_the_textbooks_fever() -> None:
    healthy = np.array([1.0, 0.0])
    links = [1 - 0.6, 1 - 0.2, 1 - 0.1]
    expected = [0.0, 0.9, 0.8, 0.98, 0.4, 0.94, 0.88, 0.988]  # cold, flu, malaria: FFF, FFT, FTF, … TTT
    for state, fever in zip(product([False, True], repeat=3), expected, strict=True):
        rows = [row(link) for link, there in zip(links, state, strict=True) if there]
        assert together(rows, healthy) == pytest.approx(fever, abs=1e-12)


@pytest.mark.parametrize(
    ("effect", "expected", "chance"),
    [
        (True, (0.585236658, 0.327550288, 0.081376174), 0.13888414),
        (False, (0.021739130, 0.005235602, 0.010101010), 0.86111586),
    ],
)
def test_three_independent_causes_and_a_leak(effect: bool, expected: tuple[float, ...], chance: float) -> None:
    priors, links, leak = (0.1, 0.05, 0.02), (0.8, 0.9, 0.5), 0.01
    healthy = np.array([1 - leak, leak])
    causes, given = {}, {}
    for state in product([True, False], repeat=3):
        name = "".join("yn"[not there] for there in state)
        causes[name] = float(np.prod([p if there else 1 - p for p, there in zip(priors, state, strict=True)]))
        rows = [row(link, leak) for link, there in zip(links, state, strict=True) if there]
        given[name] = {"high": together(rows, healthy)}
    model = build(made(causes, {"effect": {"given": given}}), never=0.0)
    shares = rank(model, [seen("effect", "high" if effect else "normal")]).shares()
    for n, p in enumerate(expected):
        assert sum(s for name, s in shares.items() if name[n] == "y") == pytest.approx(p, abs=1e-9)
    assert model.prior @ model.table_of("effect")[:, int(effect)] == pytest.approx(chance, abs=1e-9)
