"""Decision rules against published examples.

JCGM 106:2012, 7.3 and 7.4 (worked examples; the printed inputs are quoted from memory, the arithmetic is checked
here) and ILAC-G8:09/2019, 4.2 and Table 1.
"""

from __future__ import annotations

import pytest

from rig.distributions import normal_cdf
from rig.limits import Limit, Verdict, conformance_probability, judge, worst


@pytest.mark.parametrize(
    ("value", "u", "low", "high", "probability"),
    [
        (-5.47, 0.05, None, -5.40, 0.91924),  # 7.3: breakdown voltage of a Zener diode, prints 0.92
        (509.7, 8.6, 490.0, None, 0.98901),  # 7.3: burst strength of a container, prints 0.99
        (13.6, 1.8, 12.5, 16.3, 0.66263),  # 7.4: viscosity of a motor oil, prints 0.66
    ],
)
def test_conformance_probability(
    value: float, u: float, low: float | None, high: float | None, probability: float
) -> None:
    assert conformance_probability(value, u, Limit(low, high, "1", "JCGM 106")) == pytest.approx(probability, abs=5e-5)


def test_guard_band_of_u_leaves_two_and_a_quarter_percent() -> None:
    """ILAC-G8 Table 1: w = U, k = 2, specific risk at the acceptance limit below 2.5 %; exactly 2.275 %."""
    limit = Limit(None, 10.0, "V", "ILAC-G8")
    at_edge = judge(9.0, 0.5, limit)
    assert at_edge.verdict is Verdict.PASS
    assert 1 - at_edge.conformance_probability == pytest.approx(0.02275, abs=1e-5)
    assert normal_cdf(1.6449) == pytest.approx(0.95, abs=1e-5)


@pytest.mark.parametrize(
    ("value", "verdict"),
    [
        (8.9, Verdict.PASS),
        (9.0, Verdict.PASS),
        (9.1, Verdict.CONDITIONAL_PASS),
        (10.0, Verdict.CONDITIONAL_PASS),
        (10.1, Verdict.CONDITIONAL_FAIL),
        (11.0, Verdict.CONDITIONAL_FAIL),
        (11.1, Verdict.FAIL),
    ],
)
def test_four_verdicts(value: float, verdict: Verdict) -> None:
    """ILAC-G8:09/2019, 4.2.3: the non-binary statement with guard band."""
    assert judge(value, 0.5, Limit(None, 10.0, "V", "ILAC-G8")).verdict is verdict
    assert judge(-value, 0.5, Limit(-10.0, None, "V", "ILAC-G8")).verdict is verdict


@pytest.mark.parametrize("value", [float("nan"), float("inf")])
def test_what_is_not_a_number_is_no_reading(value: float) -> None:
    with pytest.raises(ValueError, match="finite"):
        judge(value, 0.1, Limit(0.0, 1.0, "V", "a test"))


def test_a_run_is_as_good_as_its_worst_step() -> None:
    order = [
        Verdict.STOPPED, Verdict.NO_READING, Verdict.FAIL, Verdict.CONDITIONAL_FAIL, Verdict.NOT_EVALUATED,
        Verdict.CONDITIONAL_PASS, Verdict.PASS,
    ]  # fmt: skip
    for n, verdict in enumerate(order):
        assert worst(order[n:]) is verdict
        assert worst(reversed(order[n:])) is verdict
