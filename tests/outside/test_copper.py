"""Copper as the simulated winding uses it, against the published rules.

IEC 60028 (annealed copper): temperature coefficient 0.00393 per K at 20 Cel. IEC 60034-1, clause 8.6.2.3:
rise of a winding from its resistance, dt = (R2/R1) (k + t1) - (k + ta), k = 235 for copper.
"""

import pytest

from simulators.unit.making import MODELS
from simulators.unit.solenoid import Drive, copper
from simulators.unit.valve import Valve


def rise(cold: float, warm: float, at_cold: float, coolant: float, k: float = 235.0) -> float:
    """IEC 60034-1, 8.6.2.3, in K above the coolant's temperature at the end."""
    return warm / cold * (k + at_cold) - (k + coolant)


def test_the_rule_itself_on_its_worked_example() -> None:
    """200 mOhm at 20 Cel, 210 warm, 25 Cel around it: 7.75 K (an instrument's appendix, citing it)."""
    assert rise(0.200, 0.210, 20.0, 25.0) == pytest.approx(7.75, abs=1e-9)


def test_resistance_at_120_over_20() -> None:
    """1.393000 with the coefficient of IEC 60028; 1.392157 with k = 235, 0.06 % apart."""
    assert copper(1.0, 120.0) == pytest.approx(1.393000, abs=1e-6)
    assert copper(1.0, 120.0) == pytest.approx((235 + 120) / (235 + 20), rel=7e-4)


def test_zero_resistance_lies_where_the_coefficient_puts_it() -> None:
    """0.00393 per K at 20 Cel implies k = 1/0.00393 - 20 = 234.45."""
    assert copper(57.6, -234.4529) == pytest.approx(0.0, abs=1e-3)


@pytest.mark.parametrize("ambient", [15.0, 22.0, 30.0])
def test_the_rule_finds_the_simulated_windings_rise(ambient: float) -> None:
    """Fed for two hours; the two coefficients differ by 0.2 %, which is worth 0.2 K here."""
    valve = Valve(MODELS["demo-18-dc"](1).valve, ambient)
    cold = valve.ohms
    for second in range(7200):
        valve.step(float(second), 1.0, Drive(24.0, 0.3))
    assert valve.celsius - ambient > 40.0
    assert rise(cold, valve.ohms, ambient, ambient) == pytest.approx(valve.celsius - ambient, abs=0.25)
