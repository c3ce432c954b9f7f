"""Crossed gauge studies: how much of the variation is the gauge and how much the people.

Parts x people x trials, every person measuring every part several times. By analysis of variance with two random
factors, and by average and range; both as AIAG's Measurement Systems Analysis, 4th edition, chapter III, lays down.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

POOL_ABOVE = 0.25  # a p value of the interaction above which it counts as error (MSA, 4th edition, III B)
NDC = 1.41  # sqrt(2), as the manual rounds it

# Constants of the range method for 2, 3, … 10 values, as MSA prints them (appendix C): the reciprocals of d2 for the
# trials of many subgroups, of d2* for the one range of the people's and of the parts' averages.
_K1 = (0.8862, 0.5908, 0.4857, 0.4299, 0.3946, 0.3698, 0.3512, 0.3367, 0.3249)
_K2_K3 = (0.7071, 0.5231, 0.4467, 0.4030, 0.3742, 0.3534, 0.3375, 0.3249, 0.3146)

Data = Sequence[Sequence[Sequence[float]]]  # person, trial, part


@dataclass(frozen=True)
class Study:
    """Standard deviations of a study, in the unit of the values.

    ``repeatability`` (EV), ``reproducibility`` (AV, with the interaction where there is one), ``gauge`` (GRR),
    ``parts`` (PV) and ``total`` (TV).
    """

    how: str
    repeatability: float
    reproducibility: float
    parts: float

    @property
    def gauge(self) -> float:
        return math.hypot(self.repeatability, self.reproducibility)

    @property
    def total(self) -> float:
        return math.hypot(self.gauge, self.parts)

    @property
    def categories(self) -> int:
        """Number of distinct categories, cut to a whole number (MSA: 1.41 PV/GRR)."""
        return 0 if self.gauge == 0 else math.floor(NDC * self.parts / self.gauge)

    def share(self, part: float) -> float:
        """A standard deviation as a share of the total, 0 to 1; 0 where nothing varies."""
        return part / self.total if self.total > 0 else 0.0


@dataclass(frozen=True)
class Row:
    """A row of the analysis of variance; ``f`` and ``p`` are None for the error, and where there is no error at all."""

    source: str
    dof: int
    squares: float
    mean: float
    f: float | None
    p: float | None


def shape(data: Data) -> tuple[int, int, int]:
    """People, trials, parts. Raises ValueError for a study that is not crossed, or too small."""
    people, trials = len(data), len(data[0]) if data else 0
    parts = len(data[0][0]) if trials else 0
    if any(len(person) != trials or any(len(row) != parts for row in person) for person in data):
        raise ValueError("a crossed study has every part measured equally often by everybody")
    if people < 2 or trials < 2 or parts < 2:
        raise ValueError(f"a study needs two people, trials and parts or more, found {people}, {trials} and {parts}")
    if not all(math.isfinite(v) for person in data for row in person for v in row):
        raise ValueError("a study's values are finite numbers")
    return people, trials, parts


def anova(data: Data) -> tuple[Row, ...]:
    """People, parts, interaction and error; F of people and parts against the error that is not pooled, as MSA prints.

    Raises ValueError as :func:`shape`.
    """
    people, trials, parts = shape(data)
    n = people * trials * parts
    grand = math.fsum(v for person in data for row in person for v in row) / n
    by_person = [math.fsum(v for row in person for v in row) / (trials * parts) for person in data]
    by_part = [math.fsum(data[o][t][p] for o in range(people) for t in range(trials)) / (people * trials)
               for p in range(parts)]  # fmt: skip
    cell = [[math.fsum(data[o][t][p] for t in range(trials)) / trials for p in range(parts)] for o in range(people)]
    ss_people = trials * parts * math.fsum((m - grand) ** 2 for m in by_person)
    ss_parts = people * trials * math.fsum((m - grand) ** 2 for m in by_part)
    ss_cells = trials * math.fsum((cell[o][p] - grand) ** 2 for o in range(people) for p in range(parts))
    ss_total = math.fsum((v - grand) ** 2 for person in data for row in person for v in row)
    ss_both, ss_error = max(0.0, ss_cells - ss_people - ss_parts), max(0.0, ss_total - ss_cells)
    dof_error = people * parts * (trials - 1)
    error = ss_error / dof_error

    def row(source: str, dof: int, squares: float) -> Row:
        mean = squares / dof
        if error == 0:  # readings that all agree: nothing to hold a mean square against
            return Row(source, dof, squares, mean, None, None)
        return Row(source, dof, squares, mean, mean / error, _beyond(mean / error, dof, dof_error))

    return (
        row("people", people - 1, ss_people),
        row("parts", parts - 1, ss_parts),
        row("people x parts", (people - 1) * (parts - 1), ss_both),
        Row("error", dof_error, ss_error, error, None, None),
    )


def _beyond(f: float, dof: int, dof_error: int) -> float:
    from scipy.special import fdtrc

    return float(fdtrc(dof, dof_error, f))


def by_anova(data: Data) -> Study:
    """Variance components; an interaction that is not significant (p above 0.25) is pooled with the error."""
    people, trials, parts = shape(data)
    rows = {row.source: row for row in anova(data)}
    both, error = rows["people x parts"], rows["error"]
    if both.p is not None and both.p > POOL_ABOVE:
        residual = (both.squares + error.squares) / (both.dof + error.dof)
        interaction, below = 0.0, residual
    else:
        residual, below = error.mean, both.mean
        interaction = max(0.0, (both.mean - error.mean) / trials)
    people_variance = max(0.0, (rows["people"].mean - below) / (parts * trials))
    parts_variance = max(0.0, (rows["parts"].mean - below) / (people * trials))
    return Study(
        "analysis of variance", math.sqrt(residual), math.sqrt(people_variance + interaction), math.sqrt(parts_variance)
    )


def by_ranges(data: Data) -> Study:
    """Average and range method. Raises ValueError as :func:`shape`, and for more than ten of anything."""
    people, trials, parts = shape(data)
    if max(people, trials, parts) > 10:
        raise ValueError("the range method has divisors for up to ten people, trials and parts")
    ranges = [
        max(data[o][t][p] for t in range(trials)) - min(data[o][t][p] for t in range(trials))
        for o in range(people)
        for p in range(parts)
    ]
    repeatability = math.fsum(ranges) / len(ranges) * _K1[trials - 2]
    averages = [math.fsum(v for row in person for v in row) / (trials * parts) for person in data]
    between = (max(averages) - min(averages)) * _K2_K3[people - 2]
    reproducibility = math.sqrt(max(0.0, between**2 - repeatability**2 / (parts * trials)))
    by_part = [
        math.fsum(data[o][t][p] for o in range(people) for t in range(trials)) / (people * trials) for p in range(parts)
    ]
    part = (max(by_part) - min(by_part)) * _K2_K3[parts - 2]
    return Study("average and range", repeatability, reproducibility, part)
