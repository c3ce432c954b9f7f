"""The solenoid: rise, dip, pull-in, drop-out, a stuck plunger, a weak spring, a warm winding."""

from dataclasses import replace
from math import exp, inf

import pytest

from simulators.unit.solenoid import FINE, SPAN, Drive, Solenoid, copper, course
from simulators.unit.valve import Valve

COIL = Solenoid(
    ohm_20=57.6,
    force_constant=7.66e-4,
    gap_offset=1.235e-3,
    stroke=1.5e-3,
    mass=0.015,
    preload=3.5,
    rate=600.0,
    damping=2.0,
    kelvin_per_watt=7.5,
    thermal_seconds=1200.0,
)


def dip(amps: list[float]) -> tuple[float, float, float, float]:
    """Time and height of the first peak, time and height of the valley after it."""
    top = next((k for k in range(1, len(amps) - 1) if amps[k] > amps[k - 1] and amps[k + 1] < amps[k]), -1)
    assert top >= 0, "no dip"
    low = min(range(top, len(amps)), key=lambda k: amps[k])
    return top * FINE, amps[top], low * FINE, amps[low]


def test_dip_where_it_belongs() -> None:
    when, high, then, low = dip(course(COIL, 0.0, Drive(24.0, 0.0), 57.6, 0.0, COIL.stroke, 0.0).amps)
    assert when == pytest.approx(7.2e-3, abs=0.5e-3)
    assert high == pytest.approx(0.31, abs=0.01)
    assert then == pytest.approx(10.5e-3, abs=0.7e-3)
    assert low == pytest.approx(0.20, abs=0.015)


def test_it_ends_at_volts_over_ohms_and_pulled_in() -> None:
    one = course(COIL, 0.0, Drive(24.0, 0.0), 57.6, 0.0, COIL.stroke, 0.0)
    assert one.amps[-1] == pytest.approx(24.0 / 57.6, rel=1e-4)
    assert one.gaps[-1] == 0.0
    assert len(one.amps) == round(SPAN / FINE) + 1


def test_stuck_plunger_gives_the_plain_rise_of_a_coil() -> None:
    """V/R (1 - exp(-t R/L)) with L of the open gap, 0.28 H: textbook first-order rise."""
    one = course(COIL, 0.0, Drive(24.0, 0.0), 57.6, 0.0, COIL.stroke, inf)
    inductance = COIL.force_constant / (COIL.stroke + COIL.gap_offset)
    assert inductance == pytest.approx(0.28, abs=0.005)
    for k in range(0, 1000, 50):
        rise = 24.0 / 57.6 * (1 - exp(-k * FINE * 57.6 / inductance))
        assert one.amps[k] == pytest.approx(rise, abs=2e-5)
    assert max(one.gaps) == min(one.gaps) == COIL.stroke


@pytest.mark.parametrize(("taus", "part"), [(1, 0.632121), (2, 0.864665), (3, 0.950213), (5, 0.993262)])
def test_rise_at_whole_time_constants(taus: int, part: float) -> None:
    one = course(COIL, 0.0, Drive(24.0, 0.0), 57.6, 0.0, COIL.stroke, inf)
    tau = COIL.force_constant / (COIL.stroke + COIL.gap_offset) / 57.6
    assert one.at(taus * tau)[0] / (24.0 / 57.6) == pytest.approx(part, abs=1e-4)


def test_pull_in_and_drop_out_currents() -> None:
    assert COIL.pull_in() == pytest.approx(0.261, abs=0.001)
    assert COIL.drop_out() == pytest.approx(0.13, abs=0.003)
    for share, moved in ((0.98, False), (1.05, True)):
        volts = COIL.pull_in() * share * 57.6
        assert (course(COIL, 0.0, Drive(volts, 0.0), 57.6, 0.0, COIL.stroke, 0.0).gaps[-1] == 0.0) is moved


def test_weak_spring_moves_early() -> None:
    weak = replace(COIL, preload=1.4, rate=240.0)
    assert dip(course(weak, 0.0, Drive(24.0, 0.0), 57.6, 0.0, COIL.stroke, 0.0).amps)[0] == pytest.approx(
        5.4e-3, abs=0.5e-3
    )


def test_adhesion_delays_the_plunger_until_it_breaks_away() -> None:
    free = dip(course(COIL, 0.0, Drive(24.0, 0.0), 57.6, 0.0, COIL.stroke, 0.0).amps)
    held = dip(course(COIL, 0.0, Drive(24.0, 0.0), 57.6, 0.0, COIL.stroke, 3.0).amps)
    assert held[0] > free[0] + 1e-3
    assert held[1] > free[1]


def test_falling_back_within_the_course() -> None:
    on = course(COIL, 0.0, Drive(24.0, 0.0), 57.6, 0.0, COIL.stroke, 0.0)
    off = course(COIL, 1.0, Drive(-1.4, 0.0), 57.6, on.amps[-1], 0.0, 0.0)
    assert off.amps[-1] == 0.0
    assert off.gaps[-1] == COIL.stroke
    assert 0.005 < FINE * next(k for k, gap in enumerate(off.gaps) if gap > 0.0) < 0.03


def test_open_and_nearly_open_windings() -> None:
    assert max(course(COIL, 0.0, Drive(24.0, 0.0), inf, 0.0, COIL.stroke, 0.0).amps) == 0.0
    assert max(course(COIL, 0.0, Drive(24.0, 0.0), 24e3, 0.0, COIL.stroke, 0.0).amps) == pytest.approx(1e-3)


def drive(
    valve: Valve, seconds: float, volts: float, driven: bool = True, dt: float = 0.02, start: float = 0.0
) -> float:
    for k in range(round(seconds / dt)):
        valve.step(start + k * dt, dt, Drive(volts, 0.1) if driven else None)
    return start + seconds


def test_valve_opens_holds_and_shuts() -> None:
    valve = Valve(COIL, 20.0)
    now = drive(valve, 1.0, 24.0)
    assert valve.opening == 1.0
    assert not valve.moving
    assert valve.amps == pytest.approx(24.0 / 57.7, rel=1e-2)
    drive(valve, 1.0, 24.0, driven=False, start=now)
    assert valve.opening == 0.0
    assert valve.amps == 0.0


def test_slow_change_of_supply_pulls_in_and_drops_out() -> None:
    valve = Valve(COIL, 20.0)
    now = drive(valve, 1.0, 13.0)
    assert valve.opening == 0.0
    now = drive(valve, 1.0, 16.5, start=now)
    assert valve.opening == 1.0
    now = drive(valve, 1.0, 9.0, start=now)
    assert valve.opening == 1.0
    drive(valve, 1.0, 6.5, start=now)
    assert valve.opening == 0.0


def test_current_of_the_past() -> None:
    valve = Valve(COIL, 20.0)
    now = drive(valve, 1.0, 24.0, driven=False)
    now = drive(valve, 2.0, 24.0, start=now)
    drive(valve, 1.0, 24.0, driven=False, start=now)
    assert valve.current(0.5) == 0.0
    assert valve.current(1.0 + 7.2e-3) == pytest.approx(0.31, abs=0.02)
    assert valve.current(2.5) == pytest.approx(0.416, abs=0.005)
    assert valve.current(3.0005) < 0.416
    assert valve.current(3.9) == 0.0


def test_winding_warms_by_its_own_loss() -> None:
    valve = Valve(COIL, 25.0)
    drive(valve, 7200.0, 24.0, dt=1.0)
    loss = valve.amps**2 * copper(57.6, valve.celsius)
    assert valve.celsius - 25.0 == pytest.approx(7.5 * loss, rel=0.01)
    assert 45.0 < valve.celsius - 25.0 < 75.0
    assert valve.ohms == pytest.approx(copper(57.6, valve.celsius))
