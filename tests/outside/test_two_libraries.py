"""Our propagation and distributions against libraries that others wrote: uncertainties, GTC and scipy.

Each input is drawn at random, so that nothing is fitted to one example. Both libraries work with derivatives, ours with
differences over ±u: the functions are gentle over that width, and the tolerance is what their bend allows.
"""

from __future__ import annotations

import math
import random
from collections.abc import Callable, Sequence
from typing import Any

import pytest

from rig.distributions import t_cdf, t_quantile
from rig.judgement.propagation import Input, propagate
from rig.uncertainty import Line, total

uncertainties = pytest.importorskip("uncertainties", reason="part of the test extra")
GTC = pytest.importorskip("GTC", reason="part of the test extra")
special = pytest.importorskip("scipy.special", reason="numeric library")


def drawn(seed: int) -> tuple[list[Input], tuple[tuple[float, ...], ...]]:
    """Four inputs and a correlation matrix of a random sample, so that it can be one."""
    r = random.Random(seed)
    inputs = [
        Input(r.uniform(1, 9), r.uniform(1e-4, 3e-3), r.choice([None, float(r.randint(3, 40))])) for _ in range(4)
    ]
    rows = [[r.gauss(0, 1) for _ in range(6)] for _ in range(4)]
    rows = [[v + 0.7 * rows[0][n] for n, v in enumerate(row)] for row in rows]
    norms = [math.sqrt(sum(v * v for v in row)) for row in rows]
    matrix = [[sum(a * b for a, b in zip(x, y, strict=True)) for y in rows] for x in rows]
    return inputs, tuple(
        tuple(1.0 if i == j else matrix[i][j] / norms[i] / norms[j] for j in range(4)) for i in range(4)
    )


FORMULAS: list[Callable[[Sequence[Any]], Any]] = [
    lambda x: x[0] * x[1] - x[2] / x[3],
    lambda x: (x[0] - x[1]) / (x[0] + x[2]) * x[3],
    lambda x: x[0] ** 2 / x[1] * (x[2] / x[3]) ** 2,
]


@pytest.mark.parametrize("seed", range(12))
def test_correlated_inputs_against_uncertainties(seed: int) -> None:
    inputs, matrix = drawn(seed)
    found = propagate(FORMULAS, inputs, matrix)
    theirs = uncertainties.correlated_values_norm([(i.value, i.u) for i in inputs], [list(row) for row in matrix])
    results = [f(theirs) for f in FORMULAS]
    covariance = uncertainties.covariance_matrix(results)
    for n, result in enumerate(results):
        assert found.values[n] == pytest.approx(result.nominal_value, rel=1e-12)
        assert found.u(n) == pytest.approx(result.std_dev, rel=1e-4)
        for m in range(3):
            assert found.covariance[n][m] == pytest.approx(
                covariance[n][m], rel=1e-3, abs=1e-5 * found.u(n) * found.u(m)
            )


@pytest.mark.parametrize("seed", range(12))
def test_degrees_of_freedom_against_gtc(seed: int) -> None:
    inputs, _ = drawn(seed)
    for formula in FORMULAS:
        found = propagate([formula], inputs)
        theirs = formula([GTC.ureal(i.value, i.u, math.inf if i.dof is None else i.dof) for i in inputs])
        assert found.u() == pytest.approx(theirs.u, rel=1e-4)
        if math.isinf(theirs.df):
            assert found.dof == (None,)
        else:
            assert found.dof[0] == pytest.approx(theirs.df, rel=1e-3)


@pytest.mark.parametrize("seed", range(12))
def test_one_error_met_twice_against_both(seed: int) -> None:
    """Two readings of one meter, a common gain and a common zero: our lines of one origin are their one variable."""
    r = random.Random(seed)
    a, b, c, d = (r.uniform(-5, 5) for _ in range(4))
    gain, zero, own = r.uniform(1e-4, 1e-3), r.uniform(1e-4, 1e-3), r.uniform(1e-4, 1e-3)
    lines = [
        Line("gain", gain, sensitivity=a * c, origin="gain"),
        Line("zero", zero, sensitivity=c, origin="zero"),
        Line("scatter", own, dof=7.0, sensitivity=c),
        Line("gain", gain, sensitivity=b * d, origin="gain"),
        Line("zero", zero, sensitivity=d, origin="zero"),
    ]
    u, dof = total(lines)
    for make in (lambda u, _: uncertainties.ufloat(0, u), lambda u, df: GTC.ureal(0, u, df)):
        g, z, s = make(gain, math.inf), make(zero, math.inf), make(own, 7)
        result = c * (a * (1 + g) + z + s) + d * (b * (1 + g) + z)
        assert u == pytest.approx(getattr(result, "std_dev", None) or result.u, rel=1e-9)
    assert dof == pytest.approx(result.df, rel=1e-9)


@pytest.mark.parametrize("dof", [1, 2, 3, 4, 7, 16, 33, 120, 999])
def test_students_distribution_against_scipy(dof: int) -> None:
    for n in range(-40, 41):
        assert t_cdf(n / 4, dof) == pytest.approx(float(special.stdtr(dof, n / 4)), abs=1e-12)
    for p in (0.001, 0.025, 0.5, 0.9, 0.975, 0.9999):
        assert t_quantile(p, dof) == pytest.approx(float(special.stdtrit(dof, p)), rel=1e-8, abs=1e-9)
