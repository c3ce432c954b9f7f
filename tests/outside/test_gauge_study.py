"""A crossed study of 3 people, 3 trials and 10 parts: AIAG, Measurement Systems Analysis, 4th edition, table III-B.

The data were typed from memory; their sums of squares give the published analysis of variance to all its digits. The
manual's own rounding of the range method differs from the exact products in the fifth digit.
"""

from __future__ import annotations

import pytest

from rig.health.gauge_study import anova, by_anova, by_ranges, shape

DATA = (
    (  # person A: three trials of ten parts
        (0.29, -0.56, 1.34, 0.47, -0.8, 0.02, 0.59, -0.31, 2.26, -1.36),
        (0.41, -0.68, 1.17, 0.5, -0.92, -0.11, 0.75, -0.2, 1.99, -1.25),
        (0.64, -0.58, 1.27, 0.64, -0.84, -0.21, 0.66, -0.17, 2.01, -1.31),
    ),
    (  # person B: three trials of ten parts
        (0.08, -0.47, 1.19, 0.01, -0.56, -0.2, 0.47, -0.63, 1.8, -1.68),
        (0.25, -1.22, 0.94, 1.03, -1.2, 0.22, 0.55, 0.08, 2.12, -1.62),
        (0.07, -0.68, 1.34, 0.2, -1.28, 0.06, 0.83, -0.34, 2.19, -1.5),
    ),
    (  # person C: three trials of ten parts
        (0.04, -1.38, 0.88, 0.14, -1.46, -0.29, 0.02, -0.46, 1.77, -1.49),
        (-0.11, -1.13, 1.09, 0.2, -1.07, -0.67, 0.01, -0.56, 1.45, -1.77),
        (-0.15, -0.96, 0.67, 0.11, -1.45, -0.49, 0.21, -0.49, 1.87, -2.16),
    ),
)


def test_average_and_range() -> None:
    """Prints EV 0.20188, AV 0.22963, GRR 0.30575, PV 1.10456, TV 1.14610; 17.62, 20.04, 26.68, 96.38 %; ndc 5."""
    study = by_ranges(DATA)
    found = (study.repeatability, study.reproducibility, study.gauge, study.parts, study.total)
    assert found == pytest.approx((0.20188, 0.22963, 0.30575, 1.10456, 1.14610), abs=1e-4)
    shares = [100 * study.share(s) for s in (study.repeatability, study.reproducibility, study.gauge, study.parts)]
    assert shares == pytest.approx([17.62, 20.04, 26.68, 96.38], abs=0.01)
    assert study.categories == 5


def test_table_of_the_analysis_of_variance() -> None:
    people, parts, both, error = anova(DATA)
    squares = (people.squares, parts.squares, both.squares, error.squares)
    assert squares == pytest.approx((3.1673, 88.3619, 0.3590, 2.7589), abs=1e-4)
    assert sum(squares) == pytest.approx(94.6471, abs=1e-4)
    means = (people.mean, parts.mean, both.mean, error.mean)
    assert means == pytest.approx((1.58363, 9.81799, 0.01994, 0.04598), abs=1e-5)
    assert (people.f, parts.f) == pytest.approx((34.44, 213.52), abs=0.01)
    assert (both.f, both.p) == pytest.approx((0.434, 0.974), abs=1e-3)


def test_analysis_of_variance_pooled() -> None:
    """Prints EV 0.199933, AV 0.226838, GRR 0.302373, PV 1.042327, TV 1.0853; ndc 4.861, which is 4."""
    study = by_anova(DATA)
    found = (study.repeatability, study.reproducibility, study.gauge, study.parts)
    assert found == pytest.approx((0.199933, 0.226838, 0.302373, 1.042327), abs=1e-5)
    assert study.total == pytest.approx(1.0853, abs=1e-4)
    assert study.categories == 4


def test_an_interaction_that_matters_is_not_pooled() -> None:
    """Derived: one person reads one part 3 higher, three times alike; both methods see it as reproducibility."""
    changed = [[list(row) for row in person] for person in DATA]
    for trial in changed[1]:
        trial[4] += 3.0
    both = anova(changed)[2]
    assert both.p is not None
    assert both.p < 0.001
    study = by_anova(changed)
    assert study.repeatability == pytest.approx(anova(DATA)[3].mean ** 0.5, rel=1e-9)
    assert study.reproducibility > by_anova(DATA).reproducibility


def test_readings_that_all_agree() -> None:
    alike = [[[1.0, 2.0, 3.0]] * 2] * 2
    assert by_anova(alike).gauge == by_ranges(alike).gauge == 0.0
    assert {row.f for row in anova(alike)} == {None}


@pytest.mark.parametrize("data", [[], [[[1.0, 2.0]]], [[[1.0, 2.0], [1.0]], [[1.0, 2.0], [1.0, 2.0]]]])
def test_what_is_no_crossed_study(data: list[list[list[float]]]) -> None:
    with pytest.raises(ValueError, match="study"):
        shape(data)
