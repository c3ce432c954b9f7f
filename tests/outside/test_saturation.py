"""Saturated steam against IAPWS R7-97(2012), Tables 35 and 36, and against its relatives.

The other points were computed from R7-97 with two independent libraries; the second column is IAPWS R6-95, another
formulation, that must agree to a few hundredths of a kilopascal. What follows from them is marked "derived".
"""

from __future__ import annotations

import pytest

from rig.steam import disagreement, saturation_pressure, saturation_slope, saturation_temperature


@pytest.mark.parametrize(
    ("kelvin", "megapascal"), [(300.0, 0.353658941e-2), (500.0, 0.263889776e1), (600.0, 0.123443146e2)]
)
def test_table_35(kelvin: float, megapascal: float) -> None:
    assert saturation_pressure(kelvin - 273.15) / 1e6 == pytest.approx(megapascal, rel=1e-8)


@pytest.mark.parametrize(("megapascal", "kelvin"), [(0.1, 0.372755919e3), (1.0, 0.453035632e3), (10.0, 0.584149488e3)])
def test_table_36(megapascal: float, kelvin: float) -> None:
    assert saturation_temperature(megapascal * 1e6) + 273.15 == pytest.approx(kelvin, rel=1e-8)


POINTS = [
    (100.0, 101.41798, 101.41800),
    (121.0, 205.03886, 205.04876),
    (121.11, 205.75001, 205.76001),
    (126.0, 239.45973, 239.47486),
    (132.0, 286.82264, 286.84601),
    (134.0, 304.19888, 304.22553),
    (135.0, 313.20104, 313.22942),
    (137.0, 331.85187, 331.88394),
    (138.0, 341.50805, 341.54207),
]


@pytest.mark.parametrize(("celsius", "r7_97", "r6_95"), POINTS)
def test_points_of_the_trade(celsius: float, r7_97: float, r6_95: float) -> None:
    kilopascal = saturation_pressure(celsius) / 1e3
    assert kilopascal == pytest.approx(r7_97, abs=1e-5)
    assert kilopascal == pytest.approx(r6_95, abs=0.04)
    assert saturation_temperature(kilopascal * 1e3) == pytest.approx(celsius, abs=1e-6)


@pytest.mark.parametrize(("kilopascal", "celsius"), [(101.325, 99.97430), (200.0, 120.21155), (300.0, 133.52536)])
def test_boiling_points(kilopascal: float, celsius: float) -> None:
    assert saturation_temperature(kilopascal * 1e3) == pytest.approx(celsius, abs=1e-5)


@pytest.mark.parametrize(("celsius", "slope"), [(121.0, 6.456e3), (134.0, 8.896e3)])
def test_slope(celsius: float, slope: float) -> None:
    """Derived by differences from R7-97."""
    assert saturation_slope(celsius) == pytest.approx(slope, abs=1.0)


def test_a_kilopascal_at_134_is_a_ninth_of_a_kelvin() -> None:
    """Derived: 1 kPa 0.1124 K, 5 kPa 0.56 K."""
    at_134 = saturation_pressure(134.0)
    assert disagreement(134.0, at_134 + 1e3).kelvin == pytest.approx(-0.1124, abs=1e-3)
    assert disagreement(134.0, at_134 + 5e3).kelvin == pytest.approx(-0.56, abs=5e-3)


@pytest.mark.parametrize(("ambient", "celsius"), [(101.325e3, 134.014), (95.0e3, 133.297), (80.0e3, 131.547)])
def test_gauge_pressure_means_little_without_ambient(ambient: float, celsius: float) -> None:
    """Derived: 203 kPa gauge at three altitudes."""
    assert saturation_temperature(203e3 + ambient) == pytest.approx(celsius, abs=0.002)


def test_ten_parts_of_air_in_a_hundred() -> None:
    """Derived, Dalton: 304.199 kPa with 10 mol % air has steam of 130.433 Cel, and the air is found again."""
    seen = disagreement(130.433, 304.199e3, u_celsius=0.1, u_pascal=500.0)
    assert saturation_temperature(0.9 * 304.199e3) == pytest.approx(130.433, abs=0.002)
    assert seen.air == pytest.approx(30.42e3, abs=20.0)
    assert not seen.agrees


@pytest.mark.parametrize("celsius", [-0.1, 374.0, float("nan")])
def test_no_saturated_steam_outside_region_4(celsius: float) -> None:
    with pytest.raises(ValueError, match="saturated steam exists"):
        saturation_pressure(celsius)


@pytest.mark.parametrize("pascal", [0.0, 600.0, 23e6, float("nan")])
def test_no_boiling_point_outside_region_4(pascal: float) -> None:
    with pytest.raises(ValueError, match="absolute"):
        saturation_temperature(pascal)
