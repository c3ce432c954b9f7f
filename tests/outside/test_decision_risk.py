"""How often decision rules are wrong, against published figures.

JCGM 106:2012, 9.5 (resistors; inputs quoted from memory, the arithmetic computed by two independent ways), ILAC-G8:
09/2019, Table 1, ANSI/NCSL Z540.3-2006, clause 5.3 b) with the guard bands of its handbook (Dobbert, NCSLI 2008) and of
Deaver; the false-accept figures of the joint normal model as the metrology press prints them, computed by two ways.
"""

from __future__ import annotations

import random

import pytest

from rig.distributions import normal_cdf, normal_quantile
from rig.judgement.risk import (
    Prior,
    managed_risk_multiplier,
    posterior,
    process_width,
    risks,
    rss_acceptance,
)
from rig.limits import Limit, Rule, Verdict, conformance_probability, judge

RESISTORS = Limit(1499.8, 1500.2, "Ohm", "JCGM 106, 9.5")
PROCESS = Prior(1500.0, 0.12)


def test_the_resistors_that_conform_at_all() -> None:
    assert PROCESS.conforming(RESISTORS) == pytest.approx(0.90442, abs=1e-5)


@pytest.mark.parametrize(
    ("guard", "consumer", "producer"),
    [(0.0, 0.018942, 0.037208), (0.02, 0.009878, 0.069027), (0.04, 0.004334, 0.114657)],
)
def test_risks_of_the_resistors(guard: float, consumer: float, producer: float) -> None:
    acceptance = Limit(1499.8 + guard, 1500.2 - guard, "Ohm", "")
    found = risks(RESISTORS, acceptance, PROCESS, 0.04)
    assert (found.consumer, found.producer) == pytest.approx((consumer, producer), abs=1e-6)


def test_one_resistor_read_at_the_limit() -> None:
    """JCGM 106, 7.2: what is known of the item after its reading."""
    after = posterior(PROCESS, 1500.20, 0.04)
    assert (after.mean, after.u) == pytest.approx((1500.180, 0.037947), abs=1e-6)
    assert after.conforming(RESISTORS) == pytest.approx(0.70092, abs=1e-5)


def test_risks_by_counting() -> None:
    """The same by drawing items and readings: within four standard errors of the share."""
    source, n = random.Random(106), 40_000
    wrong = 0
    for _ in range(n):
        item = source.gauss(PROCESS.mean, PROCESS.u)
        reading = source.gauss(item, 0.04)
        wrong += abs(reading - 1500) <= 0.2 < abs(item - 1500)
    expected = risks(RESISTORS, RESISTORS, PROCESS, 0.04).consumer
    assert wrong / n == pytest.approx(expected, abs=4 * (expected / n) ** 0.5)


@pytest.mark.parametrize(("p", "z"), [(0.80, 0.8416), (0.90, 1.2816), (0.95, 1.6449), (0.99, 2.3263), (0.999, 3.0902)])
def test_table_1_of_jcgm_106(p: float, z: float) -> None:
    """Conformance probability by the distance from a single limit in standard uncertainties."""
    assert normal_quantile(p) == pytest.approx(z, abs=1e-4)
    assert conformance_probability(10.0 - z, 1.0, Limit(None, 10.0, "V", "")) == pytest.approx(p, abs=1e-4)


@pytest.mark.parametrize(
    ("r", "risk", "at_most"),
    [(3.0, 9.9e-10, 1e-6), (1.5, 0.00135, 0.0016), (1.0, 0.02275, 0.025), (0.83, 0.0485, 0.05), (0.0, 0.5, 0.5)],
)
def test_table_1_of_ilac_g8(r: float, risk: float, at_most: float) -> None:
    """Specific false-accept risk of a reading on the acceptance limit, w = r U, k = 2."""
    limit = Limit(None, 10.0, "V", "", rule=Rule(guard=r, verdicts=2))
    at_edge = 10.0 - r * 2.0 * 0.1
    just_inside, just_outside = judge(at_edge - 1e-9, 0.1, limit), judge(at_edge + 1e-9, 0.1, limit)
    assert (just_inside.verdict, just_outside.verdict) == (Verdict.PASS, Verdict.FAIL)
    assert 1 - just_inside.conformance_probability == pytest.approx(risk, abs=1e-5, rel=0.02)
    assert 1 - just_inside.conformance_probability <= at_most


def test_u_with_k_of_1_96_gives_exactly_two_and_a_half_percent() -> None:
    assert 1 - normal_cdf(1.959964) == pytest.approx(0.025, abs=1e-6)


def test_names_of_the_rules() -> None:
    """The words of ILAC-G8:09/2019, 4.2.1 to 4.2.3."""
    assert str(Rule(0.0, 2)) == "binary statement for simple acceptance (w = 0)"
    assert str(Rule(1.0, 2)) == "binary statement with guard band (w = U)"
    assert str(Rule()) == "non-binary statement with guard band (w = U)"
    assert str(Rule(0.83)) == "non-binary statement with guard band (w = 0.83 U)"


@pytest.mark.parametrize(
    ("ratio", "in_tolerance", "accepted", "rejected"),
    [
        (4.0, 0.95, 0.8583, 1.5537),
        (2.0, 0.95, 1.3373, 4.1775),
        (3.0, 0.95, 1.0485, 2.2936),
        (10.0, 0.95, 0.4060, 0.5162),
        (4.0, 0.85, 1.7277, 2.3826),
    ],
)
def test_false_accept_and_false_reject(ratio: float, in_tolerance: float, accepted: float, rejected: float) -> None:
    """In %, by the ratio of tolerance to uncertainty and the share in tolerance, without a guard band."""
    limit = Limit(-1.0, 1.0, "V", "")
    found = risks(limit, limit, Prior(0.0, process_width(in_tolerance)), 1.0 / ratio / 2.0)
    assert 100 * found.consumer == pytest.approx(accepted, abs=1e-4)
    assert 100 * found.producer == pytest.approx(rejected, abs=1e-4)


@pytest.mark.parametrize(("ratio", "worst"), [(4.0, 2.238), (4.5, 2.006), (4.6, 1.965)])
def test_four_to_one_alone_can_exceed_two_percent(ratio: float, worst: float) -> None:
    """Derived: the worst false-accept share over all widths of the process."""
    limit = Limit(-1.0, 1.0, "V", "")
    found = [100 * risks(limit, limit, Prior(0.0, w / 100), 1 / ratio / 2.0).consumer for w in range(30, 160, 2)]
    again = [100 * risks(limit, limit, Prior(0.0, w / 100), 1 / ratio / 1.959964).consumer for w in range(30, 160, 2)]
    assert min(abs(max(f) - worst) for f in (found, again)) < 0.002


@pytest.mark.parametrize(("ratio", "multiplier", "factor"), [(4.0, 0.05312, 0.98672), (2.0, 0.28165, 0.85918)])
def test_managed_risk_guard_band(ratio: float, multiplier: float, factor: float) -> None:
    found = managed_risk_multiplier(ratio)
    assert found == pytest.approx(multiplier, abs=1e-5)
    assert 1.0 - found / ratio == pytest.approx(factor, abs=1e-5)


def test_rss_guard_band() -> None:
    assert rss_acceptance(4.0) == pytest.approx(0.968246, abs=1e-6)
    assert rss_acceptance(0.9) == 0.0


def test_motor_oil_capability() -> None:
    """JCGM 106, 7.6.3: C_m = (16.3 - 12.5) / (4 u) with u = 1.8 mm2/s is 0.53."""
    assert Limit(12.5, 16.3, "mm2/s", "").ratio(2 * 1.8) == pytest.approx(0.5278, abs=5e-5)


def test_ratio_of_limits_with_one_end() -> None:
    assert Limit(None, 0.2, "Ohm", "").ratio(0.01) == pytest.approx(10.0)
    assert Limit(2e6, None, "Ohm", "").ratio(1e5) is None
    assert Limit(None, 140.0, "Cel", "").ratio(0.5) is None
