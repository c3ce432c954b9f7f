"""The law of propagation of uncertainty for any function of correlated inputs (GUM, JCGM 100:2008, 5.1 and 5.2)."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from rig.uncertainty import welch_satterthwaite

Function = Callable[[Sequence[float]], float]
Matrix = tuple[tuple[float, ...], ...]


@dataclass(frozen=True)
class Input:
    """An input quantity: estimate, standard uncertainty, degrees of freedom (None: infinitely many)."""

    value: float
    u: float
    dof: float | None = None
    name: str = ""


@dataclass(frozen=True)
class Propagated:
    """What came of it, one entry a function; ``shares[m][i]`` is what input ``i`` moves result ``m`` by, with sign.

    ``dof`` are effective degrees of freedom after Welch and Satterthwaite, which holds for inputs that are not
    correlated; where they are, each correlated set counts as one, with the fewest of its degrees of freedom.
    """

    values: tuple[float, ...]
    covariance: Matrix
    shares: Matrix
    dof: tuple[float | None, ...]

    def u(self, n: int = 0) -> float:
        """Combined standard uncertainty of result ``n``."""
        return math.sqrt(max(0.0, self.covariance[n][n]))

    def r(self, n: int, m: int) -> float:
        """Correlation coefficient of two results; 0 where one of them is certain."""
        below = self.u(n) * self.u(m)
        return self.covariance[n][m] / below if below > 0 else 0.0


def identity(n: int) -> Matrix:
    """The correlation matrix of ``n`` uncorrelated inputs."""
    return tuple(tuple(float(i == j) for j in range(n)) for i in range(n))


def correlation_of_means(series: Sequence[Sequence[float]]) -> Matrix:
    """Correlation coefficients of the means of series observed together (GUM 5.2.3, equation 17).

    ``series`` has one row a quantity, all of equal length >= 2. Raises ValueError otherwise.
    """
    length = len(series[0])
    if length < 2 or any(len(row) != length for row in series):
        raise ValueError("correlation needs series of equal length, two values or more")
    means = [math.fsum(row) / length for row in series]
    off = [[value - mean for value in row] for row, mean in zip(series, means, strict=True)]
    sums = [[math.fsum(a * b for a, b in zip(x, y, strict=True)) for y in off] for x in off]

    def r(i: int, j: int) -> float:
        below = math.sqrt(sums[i][i] * sums[j][j])
        return float(i == j) if below == 0 else sums[i][j] / below

    return tuple(tuple(r(i, j) for j in range(len(series))) for i in range(len(series)))


def propagate(functions: Sequence[Function], inputs: Sequence[Input], correlation: Matrix | None = None) -> Propagated:
    """Values, covariances and effective degrees of freedom of functions of ``inputs``.

    A sensitivity is half the change of the function over ±u (GUM 5.1.3, note 2), which needs no derivative. Raises
    ValueError for a correlation matrix of another size.
    """
    n = len(inputs)
    matrix = identity(n) if correlation is None else correlation
    if len(matrix) != n or any(len(row) != n for row in matrix):
        raise ValueError(f"{n} inputs need {n} rows of {n} correlation coefficients")
    middle = [each.value for each in inputs]
    shares = tuple(tuple(_share(f, middle, i, inputs[i].u) for i in range(n)) for f in functions)
    covariance = tuple(
        tuple(math.fsum(a[i] * b[j] * matrix[i][j] for i in range(n) for j in range(n)) for b in shares) for a in shares
    )
    dof = tuple(_dof(row, inputs, matrix) for row in shares)
    return Propagated(tuple(f(middle) for f in functions), covariance, shares, dof)


def _share(f: Function, middle: Sequence[float], i: int, u: float) -> float:
    if u == 0:
        return 0.0
    up, down = list(middle), list(middle)
    up[i] += u
    down[i] -= u
    return (f(up) - f(down)) / 2.0


def _dof(row: Sequence[float], inputs: Sequence[Input], matrix: Matrix) -> float | None:
    left = set(range(len(inputs)))
    parts: list[tuple[float, float | None]] = []
    while left:
        together = {left.pop()}
        while more := {j for j in left if any(matrix[i][j] != 0 for i in together)}:
            together |= more
            left -= more
        variance = math.fsum(row[i] * row[j] * matrix[i][j] for i in together for j in together)
        finite = [d for i in together if (d := inputs[i].dof) is not None]
        parts.append((math.sqrt(max(0.0, variance)), min(finite, default=None)))
    return welch_satterthwaite(parts)


def second_order(f: Function, inputs: Sequence[Input]) -> float:
    """The variance that the terms of second order add where ``f`` is bent over the width of its inputs.

    For uncorrelated inputs with symmetric distributions (GUM 5.1.2, note): the sum over all pairs of
    (1/2 f_ij^2 + f_i f_ijj) u_i^2 u_j^2, by differences over ±u.
    """
    n, middle = len(inputs), [each.value for each in inputs]

    def at(*moves: tuple[int, float]) -> float:
        x = list(middle)
        for i, times in moves:
            x[i] += times * inputs[i].u
        return f(x)

    def mixed(i: int, j: int) -> float:
        if i == j:
            return at((i, 1)) - 2.0 * at() + at((i, -1))
        ends = at((i, 1), (j, 1)) - at((i, 1), (j, -1)) - at((i, -1), (j, 1)) + at((i, -1), (j, -1))
        return ends / 4.0

    def third(i: int, j: int) -> float:
        """f_ijj u_i u_j^2."""
        if i == j:
            return (at((i, 2)) - 2.0 * at((i, 1)) + 2.0 * at((i, -1)) - at((i, -2))) / 2.0
        bends = [at((i, s), (j, 1)) - 2.0 * at((i, s)) + at((i, s), (j, -1)) for s in (1, -1)]
        return (bends[0] - bends[1]) / 2.0

    first = [_share(f, middle, i, inputs[i].u) for i in range(n)]
    return math.fsum(0.5 * mixed(i, j) ** 2 + first[i] * third(i, j) for i in range(n) for j in range(n))
