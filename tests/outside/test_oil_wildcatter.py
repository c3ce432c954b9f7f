"""The oil wildcatter of H. Raiffa, Decision Analysis (1968), with the numbers of F. V. Jensen's version (quoted from
memory, arithmetic checked): what is a seismic test worth before one decides to drill?
"""

from __future__ import annotations

import numpy as np
import pytest

from rig.diagnosis.evidence import seen
from rig.diagnosis.model import build
from rig.diagnosis.rank import rank
from rig.diagnosis.value import after_look, best_act
from tests.small_tables import made

HOLE = np.array([0.5, 0.3, 0.2])  # dry, wet, soaking
PAY = np.array([[-70.0, 50.0, 200.0], [0.0, 0.0, 0.0]])  # drill, do not
SEISMIC = np.array([[0.6, 0.3, 0.1], [0.3, 0.4, 0.3], [0.1, 0.4, 0.5]])  # no, open, closed structure, given the hole


def test_the_test_is_worth_what_is_published() -> None:
    worth = best_act(PAY)
    assert worth(HOLE) == pytest.approx(20.0)
    with_test = after_look(HOLE, SEISMIC, worth)
    assert with_test == pytest.approx(32.5)
    assert with_test - worth(HOLE) == pytest.approx(12.5)  # expected value of sample information
    assert after_look(HOLE, np.eye(3), worth) - worth(HOLE) == pytest.approx(35.0)  # of perfect information


def test_the_same_posteriors_come_from_the_ranking() -> None:
    """Chances of the structures .41, .35, .24; drilling pays -30.4878, 32.8571, 87.5 after them."""
    names = ("dry", "wet", "soaking")
    given = {n: {"low": row[1], "high": row[2]} for n, row in zip(names, SEISMIC, strict=True)}
    model = build(made(dict(zip(names, HOLE, strict=True)), {"seismic": {"given": given}}), never=0.0)
    outcomes = model.outcomes["seismic"]
    assert outcomes == ("normal", "low", "high")
    expected = {"normal": (0.41, -30.4878), "low": (0.35, 32.8571), "high": (0.24, 87.5)}
    for n, outcome in enumerate(outcomes):
        shares = rank(model, [seen("seismic", outcome)]).shares()
        belief = np.array([shares[name] for name in names])
        assert model.prior @ model.table_of("seismic")[:, n] == pytest.approx(expected[outcome][0])
        assert PAY[0] @ belief == pytest.approx(expected[outcome][1], abs=1e-4)
