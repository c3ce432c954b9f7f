"""The worked examples of the GUM (JCGM 100:2008), H.1 and H.2, and its Table G.2.

Input data as printed there (quoted by way of stored copies); unrounded results were computed with two independent
libraries. Where the GUM rounds on the way, the tolerance allows for both.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import pytest

from rig.distributions import P95, coverage_factor, t_cdf, t_quantile
from rig.judgement.propagation import Input, correlation_of_means, propagate, second_order
from rig.uncertainty import type_a, welch_satterthwaite

# H.2, Table H.2: five simultaneous observations of voltage (V), current (A) and phase (rad).
VOLTS = (5.007, 4.994, 5.005, 4.990, 4.999)
AMPS = (19.663e-3, 19.639e-3, 19.640e-3, 19.685e-3, 19.678e-3)
PHASE = (1.0456, 1.0438, 1.0468, 1.0428, 1.0433)


def resistance(x: Sequence[float]) -> float:
    return x[0] / x[1] * math.cos(x[2])


def reactance(x: Sequence[float]) -> float:
    return x[0] / x[1] * math.sin(x[2])


def impedance(x: Sequence[float]) -> float:
    return x[0] / x[1]


FUNCTIONS = (resistance, reactance, impedance)
MEANS = [Input(math.fsum(s) / 5, type_a(s), 4.0) for s in (VOLTS, AMPS, PHASE)]


def test_h2_means_and_correlations() -> None:
    assert [m.value for m in MEANS] == pytest.approx([4.9990, 19.6610e-3, 1.04446], rel=1e-6)
    assert [m.u for m in MEANS] == pytest.approx([0.0032094, 9.471e-6, 0.00075206], rel=1e-3)
    r = correlation_of_means((VOLTS, AMPS, PHASE))
    assert (r[0][1], r[0][2], r[1][2]) == pytest.approx((-0.3553, 0.8576, -0.6451), abs=5e-4)


def test_h2_results_with_correlations() -> None:
    """Table H.3: R 127.732 (0.071), X 219.847 (0.295), Z 254.260 (0.236) Ohm; r -0.588, -0.485, 0.993."""
    found = propagate(FUNCTIONS, MEANS, correlation_of_means((VOLTS, AMPS, PHASE)))
    assert found.values == pytest.approx((127.73217, 219.84651, 254.25970), abs=1e-4)
    assert [found.u(n) for n in range(3)] == pytest.approx([0.07107, 0.29558, 0.23634], abs=1e-4)
    assert (found.r(0, 1), found.r(0, 2), found.r(1, 2)) == pytest.approx((-0.58843, -0.48526, 0.99251), abs=5e-4)


def test_h2_second_approach() -> None:
    """Table H.4: each set evaluated on its own; the scatter of the results says it all."""
    sets = list(zip(VOLTS, AMPS, PHASE, strict=True))
    results = [[f(x) for x in sets] for f in FUNCTIONS]
    assert [math.fsum(r) / 5 for r in results] == pytest.approx([127.73163, 219.84690, 254.26005], abs=1e-4)
    assert [type_a(r) for r in results] == pytest.approx([0.07127, 0.29549, 0.23625], abs=1e-4)
    r = correlation_of_means(results)
    assert (r[0][1], r[0][2], r[1][2]) == pytest.approx((-0.58828, -0.48506, 0.99251), abs=5e-4)


def test_h2_without_correlations_is_wrong() -> None:
    """What comes of leaving them out (derived): nearly three times too much for R, and it must not be given."""
    wrong = propagate(FUNCTIONS, MEANS)
    assert [wrong.u(n) for n in range(3)] == pytest.approx([0.19454, 0.20091, 0.20408], abs=1e-4)
    right = propagate(FUNCTIONS, MEANS, correlation_of_means((VOLTS, AMPS, PHASE)))
    assert all(abs(right.u(n) - wrong.u(n)) > 0.02 for n in range(3))


# H.1: an end gauge compared with a standard; lengths in nm, temperatures in Cel.
GAUGE = [
    Input(50_000_623, 25.0, 18.0, "standard"),
    Input(215, 9.7, 25.6, "difference"),
    Input(0.0, 0.58e-6, 50.0, "expansion, difference"),
    Input(-0.1, 0.41, None, "temperature"),
    Input(11.5e-6, 1.2e-6, None, "expansion"),
    Input(0.0, 0.029, 2.0, "temperature, difference"),
]


def gauge(x: Sequence[float]) -> float:
    standard, difference, d_alpha, theta, alpha, d_theta = x
    return standard + difference - standard * (d_alpha * theta + alpha * d_theta)


def test_h1_end_gauge() -> None:
    """H.1.4 to H.1.6: l = 50.000 838 mm, u = 32 nm, 16 degrees of freedom, U99 = 93 nm."""
    found = propagate([gauge], GAUGE)
    assert found.values[0] == pytest.approx(50_000_838, abs=0.5)
    assert found.u() == pytest.approx(31.7, abs=0.1)
    shares = [abs(s) for s in found.shares[0]]
    # Table H.1; with the exact sensitivities at the estimates the expansion difference gives 2.9 and, as the mean
    # temperature is -0.1 Cel, the expansion coefficient itself nothing
    assert shares == pytest.approx([25.0, 9.7, 2.9, 0.0, 0.0, 16.6], abs=0.1)
    dof = found.dof[0]
    assert dof is not None
    assert 16.5 <= dof <= 17.0
    assert coverage_factor(dof, 0.99) * found.u() == pytest.approx(93.0, abs=1.5)


def test_h1_comparison_of_the_two_gauges() -> None:
    """H.1.3.2: u(d) of 5.8, 3.9 and 6.7 nm is 9.7 nm, with 25.6 degrees of freedom from 24, 5 and 8."""
    parts = [(5.8, 24.0), (3.9, 5.0), (6.7, 8.0)]
    assert math.sqrt(sum(u * u for u, _ in parts)) == pytest.approx(9.682, abs=0.01)
    assert welch_satterthwaite(parts) == pytest.approx(25.6, abs=0.2)


def test_h1_terms_of_second_order() -> None:
    """H.1.7 prints 11.7 and 1.7 nm, which bring u from 32 to 34 nm; its own inputs give 11.9 for the first."""
    extra = second_order(gauge, GAUGE)
    assert math.sqrt(extra) == pytest.approx(math.hypot(11.7, 1.7), abs=0.25)
    assert math.sqrt(extra) == pytest.approx(50.000623e6 * math.hypot(0.58e-6 * 0.41, 1.2e-6 * 0.029), rel=1e-6)
    assert math.sqrt(propagate([gauge], GAUGE).u() ** 2 + extra) == pytest.approx(33.8, abs=0.15)


@pytest.mark.parametrize(
    ("p", "dof", "t"),
    [
        (0.995, 16, 2.92078),
        (0.995, 17, 2.89823),
        (0.995, 18, 2.87844),
        # Table G.2, 95.45 % and 95 %, two decimals
        (0.5 + P95 / 2, 1, 13.97),
        (0.5 + P95 / 2, 2, 4.53),
        (0.5 + P95 / 2, 5, 2.65),
        (0.5 + P95 / 2, 10, 2.28),
        (0.5 + P95 / 2, 50, 2.05),
        (0.975, 3, 3.18),
        (0.975, 100, 1.984),
    ],
)
def test_table_g2(p: float, dof: int, t: float) -> None:
    digits = len(f"{t}".partition(".")[2])
    assert t_quantile(p, dof) == pytest.approx(t, abs=0.6 * 10**-digits)
    assert t_cdf(t_quantile(p, dof), dof) == pytest.approx(p, abs=1e-12)


def test_normal_limit() -> None:
    """GUM 6.3.3: k = 2 for about 95 %; the last row of Table G.2."""
    assert coverage_factor(None) == 2.0
    assert t_quantile(0.995, None) == pytest.approx(2.576, abs=5e-4)
    assert coverage_factor(16.75) == coverage_factor(16.0)  # cut to the next lower whole number, G.4.1
