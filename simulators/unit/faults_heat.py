"""Faults behind the complaint that the unit heats too slowly. See fault.py for the form."""

from simulators.unit.defects import Defects
from simulators.unit.fault import Fault, closing, growing
from simulators.unit.nominals import DEMO_UNITS


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
)
