"""Faults behind the complaint that the load stays wet, or that the unit leaks. See fault.py for the form."""

from __future__ import annotations

from typing import TYPE_CHECKING

from simulators.unit.defects import Defects
from simulators.unit.fault import Fault, leak
from simulators.unit.nominals import DEMO_UNITS

if TYPE_CHECKING:
    from simulators.unit.unit import Unit


def _door_misaligned(defects: Defects, severity: float) -> None:
    defects.door_hole = leak(severity)


def _door_not_opening(defects: Defects, severity: float) -> None:
    defects.door_release *= (1.0 - severity) ** 2


def _dry_heat_weak(defects: Defects, severity: float) -> None:
    defects.dry_share *= 1.0 - severity


def _fitting_leak(defects: Defects, severity: float) -> None:
    defects.fitting_hole = leak(severity)


def _gland_leak(defects: Defects, severity: float) -> None:
    defects.gland_hole = leak(severity)


def _relief_weeping(defects: Defects, severity: float) -> None:
    # It weeps from a part of its set pressure on, and the more the earlier.
    defects.relief_hole = leak(severity, 0.8e-3)
    defects.relief_weeps = 230e3 * (1.0 - severity) ** 2.3


def _vent_valve_seat(defects: Defects, severity: float) -> None:
    defects.vent_seat_hole = leak(severity)


def _loading(defects: Defects, severity: float) -> None:
    defects.trap += 0.9 * severity**1.5


def _put_load(unit: Unit, severity: float) -> None:
    unit.put_load(unit.owners_load())


def _reservoir_overfull(unit: Unit, severity: float) -> None:
    unit.fill_reservoir(unit.model.place.reservoir_depth + 0.045 * severity)


def _nothing(defects: Defects, severity: float) -> None:
    """A fault that is a state, not a part."""


DRY_FAULTS = (
    Fault(
        "door-misaligned",
        "the door does not press evenly on its gasket",
        "a leak on one side of the door; a strip of paper pulls out there",
        False,
        DEMO_UNITS,
        _door_misaligned,
    ),
    Fault(
        "door-not-opening",
        "the door's catch does not release for drying",
        "no gap at the end of the cycle; everything inside is wet",
        False,
        DEMO_UNITS,
        _door_not_opening,
    ),
    Fault(
        "dry-heat-weak",
        "the board gives too little heat in the dry phase",
        "the gap is there, little energy goes in, the load stays wet",
        False,
        DEMO_UNITS,
        _dry_heat_weak,
    ),
    Fault(
        "fitting-leak",
        "a tube joint at the chamber leaks",
        "pressure leaks down; bubbles at the joint",
        False,
        DEMO_UNITS,
        _fitting_leak,
    ),
    Fault(
        "gland-leak",
        "the gland of probe or sensor leaks",
        "pressure leaks down; bubbles at the gland",
        False,
        DEMO_UNITS,
        _gland_leak,
    ),
    Fault(
        "relief-weeping",
        "the relief valve weeps below its set pressure",
        "its outlet is wet after a cycle; a leak test may not reach it",
        False,
        DEMO_UNITS,
        _relief_weeping,
    ),
    Fault(
        "vent-valve-seat",
        "the vent valve leaks at its seat when it is shut",
        "pressure leaks down; cured with the vent line plugged",
        False,
        DEMO_UNITS,
        _vent_valve_seat,
    ),
    Fault(
        "loading",
        "the load is laid so that water stays in it",
        "the unit is right, the load is wet; laid as it should be it dries",
        True,
        DEMO_UNITS,
        _loading,
        _put_load,
    ),
    Fault(
        "reservoir-overfull",
        "too much water in the reservoir: it reaches the vent line's end",
        "water runs back into the chamber after the cycle",
        True,
        DEMO_UNITS,
        _nothing,
        _reservoir_overfull,
    ),
)
