"""Gas and vent, exchange of heat, element and cut-out."""

from math import pi

import pytest
from hypothesis import given
from hypothesis import strategies as st

from simulators.unit.heat import Heat, exchange
from simulators.unit.lag import Lag
from simulators.unit.making import MODELS
from simulators.unit.steam import Gas, latent_heat, saturation_pressure, saturation_slope

PARTS = MODELS["demo-18-dc"](0).heat


def test_slope_of_the_saturation_line() -> None:
    for celsius in (40.0, 100.0, 134.0):
        near = saturation_pressure(celsius + 0.01) - saturation_pressure(celsius - 0.01)
        assert saturation_slope(celsius, saturation_pressure(celsius)) == pytest.approx(near / 0.02, rel=0.04)


@pytest.mark.parametrize(("celsius", "joule"), [(20.0, 2453.5e3), (100.0, 2256.4e3), (134.0, 2163.0e3)])
def test_latent_heat(celsius: float, joule: float) -> None:
    """Steam-table values, from memory."""
    assert latent_heat(celsius) == pytest.approx(joule, rel=0.007)


def test_gas_starts_at_ambient() -> None:
    gas = Gas(0.018, 101e3, 20.0)
    assert gas.air + gas.vapour == pytest.approx(101e3)
    assert gas.gauge == 0.0


def test_sealed_fill_compresses_as_boyle_says() -> None:
    gas = Gas(0.018, 101e3, 20.0)
    air = gas.air
    gas.squeeze(0.0175)
    gas.breathe(0.02, 0.0)
    assert gas.air == pytest.approx(air * 0.018 / 0.0175)
    assert gas.gauge == pytest.approx(air * (0.018 / 0.0175 - 1))


def test_open_vent_passes_the_displaced_air_at_a_few_pascal() -> None:
    """Orifice by hand: q = 0.7 A sqrt(2 dp / rho); 5 mL/s through 2.2 mm at 1.19 kg/m3 is 2.1 Pa."""
    gas = Gas(0.018, 101e3, 20.0)
    area = pi * 0.0022**2 / 4
    for _ in range(500):
        gas.squeeze(gas.volume - 5e-6 * 0.02)
        gas.breathe(0.02, area)
    hand = (5e-6 / (0.7 * area)) ** 2 * 1.19 / 2
    assert gas.gauge == pytest.approx(hand, rel=0.03)


@given(st.floats(-5e4, 3e5), st.sampled_from([0.02, 0.1, 0.2, 1.0]), st.floats(1e-9, 2e-5))
def test_breathing_goes_towards_ambient_and_not_past_it(excess: float, dt: float, area: float) -> None:
    gas = Gas(0.018, 101e3, 20.0)
    gas.air += excess
    before = gas.air + gas.vapour - gas.ambient
    left = gas.breathe(dt, area)
    assert left >= 0.0
    assert gas.gauge * before >= -1e-6
    assert abs(gas.gauge) <= abs(before) + 1e-6


@given(
    st.floats(1.0, 1e4),
    st.floats(0.0, 300.0),
    st.floats(1.0, 1e4),
    st.floats(0.0, 300.0),
    st.floats(0.0, 500.0),
)
def test_exchange_keeps_the_heat(c1: float, t1: float, c2: float, t2: float, coupling: float) -> None:
    a, b = exchange(c1, t1, c2, t2, coupling, 0.1)
    assert c1 * a + c2 * b == pytest.approx(c1 * t1 + c2 * t2, rel=1e-9, abs=1e-6)
    assert min(t1, t2) - 1e-9 <= min(a, b) <= max(a, b) <= max(t1, t2) + 1e-9


def test_exchange_by_hand() -> None:
    """One body without end: the other decays with exp(-U t / C)."""
    _, small = exchange(1e12, 0.0, 100.0, 50.0, 20.0, 5.0)
    assert small == pytest.approx(50.0 * 0.36787944, rel=1e-6)


def test_heat_balance_of_a_covered_element() -> None:
    """Without losses to speak of, all power is found again in element, water, vapour and metal."""
    heat = Heat(PARTS, 22.0)
    heat.take_in(0.42, 22.0)
    seconds, watts = 60.0, 1500.0
    for _ in range(300):
        heat.step(0.2, watts, 0.42, 0.0, 0.014, 1e-9, 22.0)
        heat.settle(0.42, 1e-9, 295.0)
    stored = PARTS.element_capacity * (heat.element - 22.0) + PARTS.metal_capacity * (heat.metal - 22.0)
    stored += 0.42 * 4186.0 * (heat.water - 22.0)
    assert stored == pytest.approx(watts * seconds, rel=0.02)
    assert 20.0 < heat.element - heat.water < 30.0


def test_dry_element_runs_away_at_11_kelvin_a_second() -> None:
    heat = Heat(PARTS, 22.0)
    for _ in range(50):
        heat.step(0.1, 1500.0, 0.0, 0.0, 0.0, 0.018, 22.0)
    assert (heat.element - 22.0) / 5.0 == pytest.approx(1500.0 / PARTS.element_capacity, rel=0.05)
    for _ in range(300):
        heat.step(0.1, 1500.0, 0.0, 0.0, 0.0, 0.018, 22.0)
    assert heat.tripped


def test_hot_metal_cools_into_water_that_comes_in() -> None:
    heat = Heat(PARTS, 22.0)
    heat.metal = 120.0
    heat.take_in(0.05, 22.0)
    heat.settle(0.05, 0.018, 295.0)
    heat.step(1.0, 0.0, 0.05, 0.0, 0.01, 0.018, 22.0)
    assert heat.metal < 120.0
    assert heat.water > 22.0


def test_lag_reaches_63_percent_in_its_time() -> None:
    coarse, fine = Lag(6.0, 0.0), Lag(6.0, 0.0)
    coarse.step(6.0, 1.0)
    for _ in range(60):
        fine.step(0.1, 1.0)
    assert coarse.value == pytest.approx(0.632121, abs=1e-6)
    assert fine.value == pytest.approx(coarse.value)
