"""Faults behind the complaint that the unit heats too slowly. See fault.py for the form."""

from __future__ import annotations

from typing import TYPE_CHECKING

from simulators.unit.defects import Defects
from simulators.unit.fault import Fault, closing, growing
from simulators.unit.nominals import DEMO_UNITS

if TYPE_CHECKING:
    from simulators.unit.unit import Unit


def _heater_open(defects: Defects, severity: float) -> None:
    defects.heater_joint_ohm += growing(severity, 3.3)


def _one_element_open(defects: Defects, severity: float) -> None:
    defects.element_joint_ohm += growing(severity, 35.0)


def _hot_joint(defects: Defects, severity: float) -> None:
    defects.lead_joint_ohm += 12.0 * severity**2


def _half_wave_switch(defects: Defects, severity: float) -> None:
    defects.lost_half_wave = severity**1.74


def _cutout_weak(defects: Defects, severity: float) -> None:
    defects.cut_out_early = 145.0 * severity


def _heater_scaled(defects: Defects, severity: float) -> None:
    defects.heater_contact *= closing(severity, 1.0, 0.02, 2.0)


def _vent_valve_open(defects: Defects, severity: float) -> None:
    defects.vent_stuck = severity**1.65


def _gasket_worn(defects: Defects, severity: float) -> None:
    defects.gasket_hole = 2.2e-3 * severity


def _mains_low(defects: Defects, severity: float) -> None:
    defects.mains = 1.0 - 0.3 * severity


def _overload(defects: Defects, severity: float) -> None:
    defects.load = 14.0 * severity


def _put_load(unit: Unit, severity: float) -> None:
    unit.put_load(unit.owners_load())


def _pressure_sensor_off(defects: Defects, severity: float) -> None:
    defects.pressure_off -= 60e3 * severity


def _temp_sensor_off(defects: Defects, severity: float) -> None:
    defects.sensor_ohm += 4.0 * severity**2.4


def _too_little_water(defects: Defects, severity: float) -> None:
    defects.probe_shift -= 0.95 * severity


def _too_much_water(defects: Defects, severity: float) -> None:
    defects.probe_shift += 1.2 * severity


def _valve_seat_passing(defects: Defects, severity: float) -> None:
    defects.seat_leak += 0.08 * severity**3


HEAT_FAULTS = (
    Fault(
        "heater-open",
        "a joint inside the heater parts",
        "fills, then stays cold",
        False,
        DEMO_UNITS,
        _heater_open,
    ),
    Fault(
        "one-element-open",
        "one of the heater's two elements parts",
        "half the power, half the speed",
        False,
        DEMO_UNITS,
        _one_element_open,
    ),
    Fault(
        "hot-joint",
        "an oxidised tab in the heater's lead",
        "slow, a brown tab; the voltage at the heater sags under load",
        False,
        DEMO_UNITS,
        _hot_joint,
    ),
    Fault(
        "half-wave-switch",
        "the heater's switch passes one half wave only",
        "half the power with a sound heater",
        False,
        DEMO_UNITS,
        _half_wave_switch,
    ),
    Fault(
        "cutout-weak",
        "the over-temperature cut-out opens too early",
        "the heater goes off below the set temperature and stays off",
        False,
        DEMO_UNITS,
        _cutout_weak,
    ),
    Fault(
        "heater-scaled",
        "scale keeps the heat in the element",
        "power is right until the cut-out opens",
        False,
        DEMO_UNITS,
        _heater_scaled,
    ),
    Fault(
        "vent-valve-open",
        "the chamber's vent valve does not shut",
        "a hot vent line, water lost, the set temperature late or never",
        False,
        DEMO_UNITS,
        _vent_valve_open,
    ),
    Fault(
        "gasket-worn",
        "the door gasket leaks at every pressure",
        "steam at the rim, water lost, the set temperature late or never",
        False,
        DEMO_UNITS,
        _gasket_worn,
    ),
    Fault(
        "mains-low",
        "the owner's mains is low",
        "everything is slow and nothing is wrong; the voltage at the socket tells",
        True,
        DEMO_UNITS,
        _mains_low,
    ),
    Fault(
        "overload",
        "the load is heavier than the instructions allow",
        "heats slowly with the owner's load, and right without",
        True,
        DEMO_UNITS,
        _overload,
        _put_load,
    ),
    Fault(
        "pressure-sensor-off",
        "the unit's pressure sensor reads too low",
        "the right temperature is there and the board goes on waiting for pressure",
        False,
        DEMO_UNITS,
        _pressure_sensor_off,
    ),
    Fault(
        "temp-sensor-off",
        "a bad joint in the unit's temperature sensor",
        "the display is ahead of a reference thermometer; the pressure lags behind",
        False,
        DEMO_UNITS,
        _temp_sensor_off,
    ),
    Fault(
        "too-little-water",
        "the probe's tip is bent down: the fill stops too early",
        "too little water is drained; the heater runs dry and its cut-out opens",
        True,
        DEMO_UNITS,
        _too_little_water,
    ),
    Fault(
        "too-much-water",
        "the probe's tip is bent up: the fill goes on too long",
        "too much water is drained; everything is slow",
        True,
        DEMO_UNITS,
        _too_much_water,
    ),
    Fault(
        "valve-seat-passing",
        "dirt on the fill valve's seat",
        "it drips at rest; under pressure water and steam go back to the reservoir",
        False,
        DEMO_UNITS,
        _valve_seat_passing,
    ),
)
