"""The density of water that formulas use, against the CIPM's formula.

M. Tanaka, G. Girard, R. Davis, A. Peuto, N. Bignell: Recommended table for the density of water between 0 and 40
degrees Celsius based on recent experimental reports, Metrologia 38 (2001) 301-309, equation 1 (air-free water at
101.325 kPa). The coefficients are from memory; the table value at 20 degrees, 998.2067 kg/m3, checks them.
"""

from __future__ import annotations

import pytest

from rig.plan.formula import CONSTANTS


def tanaka(celsius: float) -> float:
    """Density in kg/m3, 0 to 40 degrees Celsius."""
    a1, a2, a3, a4, a5 = -3.983035, 301.797, 522528.9, 69.34881, 999.974950
    return a5 * (1 - (celsius + a1) ** 2 * (celsius + a2) / (a3 * (celsius + a4)))


def test_the_formula_gives_its_own_table_value() -> None:
    assert tanaka(20.0) == pytest.approx(998.2067, abs=5e-5)


def test_our_constant_is_water_at_20_degrees() -> None:
    assert CONSTANTS["water.density"].to("kg/m3") == pytest.approx(tanaka(20.0), abs=0.05)
    # what the remark beside the constant says of a bench that is not at 20 degrees
    for celsius in (15.0, 25.0):
        assert abs(tanaka(celsius) / tanaka(20.0) - 1) < 0.0013
