"""Faults behind the complaint that the unit reports no water level. See fault.py for the form."""

from __future__ import annotations

from typing import TYPE_CHECKING

from simulators.unit.defects import Defects
from simulators.unit.fault import Fault, closing, growing
from simulators.unit.nominals import DEMO_UNITS, ONE_PORT, RECTIFIED, WITH_BOTTLE

if TYPE_CHECKING:
    from simulators.unit.unit import Unit


def _filter_choked(defects: Defects, severity: float) -> None:
    # A mesh full of deposit still weeps.
    defects.filter_open *= closing(severity, 1.0, 0.015, 2.9)


def _line_narrowed(defects: Defects, severity: float) -> None:
    defects.tube_bore = closing(severity, 0.006, 0.0003, 1.85)


def _condenser_narrowed(defects: Defects, severity: float) -> None:
    defects.coil_bore = closing(severity, 0.005, 0.0003, 1.57)


def _weep_hole_blocked(defects: Defects, severity: float) -> None:
    defects.weep_open *= closing(severity, 1.0, 0.0, 1.45)


def _vent_valve_shut(defects: Defects, severity: float) -> None:
    defects.vent_open *= closing(severity, 1.0, 0.0, 6.7)


def _reservoir_low(unit: Unit, severity: float) -> None:
    unit.fill_reservoir(closing(severity, unit.model.place.reservoir_depth, unit.model.shape.outlet, 3.2))


def _water_too_pure(defects: Defects, severity: float) -> None:
    defects.conductivity *= 0.15 ** (2.0 * severity)


def _not_level(defects: Defects, severity: float) -> None:
    defects.tilt = 60.0 * severity**1.6


def _hot_restart(defects: Defects, severity: float) -> None:
    defects.rested = closing(severity, 60.0, 2.0, 1.7)


def _nothing(defects: Defects, severity: float) -> None:
    """A fault that is a state, not a part."""


def _coil_open(defects: Defects, severity: float) -> None:
    defects.winding_joint_ohm += growing(severity, 34.0)


def _coil_shorted(defects: Defects, severity: float) -> None:
    defects.shorted_turns = 0.7 * severity


def _plunger_stuck(defects: Defects, severity: float) -> None:
    defects.plunger_grip += 2.0 * severity


def _spring_weak(defects: Defects, severity: float) -> None:
    defects.spring *= 1.0 - 0.6 * severity
    defects.seat_leak += 0.006 * severity**3.5


def _rectifier_open(defects: Defects, severity: float) -> None:
    defects.diode_ohm += growing(severity, 240.0)


def _lead_high_ohm(defects: Defects, severity: float) -> None:
    defects.harness_ohm += closing(severity, 0.0, 48.0, 1.84)


def _board_output_dead(defects: Defects, severity: float) -> None:
    defects.output_ohm += growing(severity, 34.0)


def _probe_coated(defects: Defects, severity: float) -> None:
    defects.probe_deposit_ohm += 6e6 * severity**5


def _ground_open(defects: Defects, severity: float) -> None:
    defects.ground_ohm += growing(severity, 185e3)


def _board_level_input_dead(defects: Defects, severity: float) -> None:
    defects.level_input_ohm += growing(severity, 185e3)


def _fouled(defects: Defects, severity: float) -> None:
    # Slime is everywhere at once: mesh, probe, insulator, seat.
    defects.filter_open *= closing(severity, 1.0, 0.02, 2.8)
    defects.probe_deposit_ohm += 1.5e6 * severity**4
    defects.probe_film_ohm = 0.4e6 / severity
    defects.seat_leak += 0.002 * severity


FILL_FAULTS = (
    Fault(
        "filter-choked",
        "deposit closes the chamber filter's mesh",
        "slow from the first second, or times out with part of the water in",
        False,
        DEMO_UNITS,
        _filter_choked,
    ),
    Fault(
        "line-narrowed",
        "the fill tube is kinked or scaled up",
        "slow as with a choked filter, and still slow with the filter out",
        False,
        DEMO_UNITS,
        _line_narrowed,
    ),
    Fault(
        "condenser-narrowed",
        "the foot of the condensing coil is scaled up",
        "the exhaust is slow; with one port for both, so is the fill",
        False,
        DEMO_UNITS,
        _condenser_narrowed,
    ),
    Fault(
        "weep-hole-blocked",
        "the weep hole between reservoir and coil is blocked",
        "a short start while the coil runs dry, then a trickle or nothing",
        False,
        ONE_PORT,
        _weep_hole_blocked,
    ),
    Fault(
        "vent-valve-shut",
        "the chamber's vent valve does not let air out",
        "the first flow is right, then it stalls; the chamber is under pressure while it fills",
        False,
        DEMO_UNITS,
        _vent_valve_shut,
    ),
    Fault(
        "bottle-vent-shut",
        "the vent in the condensate bottle's lid is blocked",
        "as a shut vent valve; gone with the bottle disconnected",
        True,
        WITH_BOTTLE,
        _vent_valve_shut,
    ),
    Fault(
        "reservoir-low",
        "too little water in the reservoir",
        "starts nearly as usual and stops dead",
        True,
        DEMO_UNITS,
        _nothing,
        _reservoir_low,
    ),
    Fault(
        "water-too-pure",
        "water that conducts too little for the probe",
        "water runs until the unit gives up; with other water all is well",
        True,
        DEMO_UNITS,
        _water_too_pure,
    ),
    Fault(
        "not-level",
        "the unit stood front low at the owner's",
        "nothing on a level bench; the intake sheet tells",
        True,
        DEMO_UNITS,
        _not_level,
    ),
    Fault(
        "hot-restart",
        "the owner started it hot, soon after another cycle",
        "nothing once it is cold; the owner's account tells",
        True,
        DEMO_UNITS,
        _hot_restart,
    ),
    Fault(
        "coil-open",
        "a joint inside the fill valve's winding parts",
        "no click, no water; the coil reads open",
        False,
        DEMO_UNITS,
        _coil_open,
    ),
    Fault(
        "coil-shorted",
        "turns of the fill valve's winding are shorted",
        "the coil reads low and gets hot; the board's fuse opens and the water stops",
        False,
        DEMO_UNITS,
        _coil_shorted,
    ),
    Fault(
        "plunger-stuck",
        "deposit glues the fill valve's plunger to its seat",
        "no water although the valve gets its full current",
        False,
        DEMO_UNITS,
        _plunger_stuck,
    ),
    Fault(
        "spring-weak",
        "the fill valve's return spring has lost its force",
        "the valve weeps at rest; the plunger moves early",
        False,
        DEMO_UNITS,
        _spring_weak,
    ),
    Fault(
        "rectifier-open",
        "a diode of the fill valve's rectifier parts",
        "no water from the board: half the voltage at the plug; right from the bench",
        False,
        RECTIFIED,
        _rectifier_open,
    ),
    Fault(
        "lead-high-ohm",
        "a corroded joint in the fill valve's lead",
        "no click, no water; the supply is there until the valve is plugged in",
        False,
        DEMO_UNITS,
        _lead_high_ohm,
    ),
    Fault(
        "board-output-dead",
        "the board's output to the fill valve parts",
        "no click, no water, no voltage at the plug",
        False,
        DEMO_UNITS,
        _board_output_dead,
    ),
    Fault(
        "probe-coated",
        "an insulating layer on the level probe",
        "water runs until the unit gives up; far too much in the chamber",
        False,
        DEMO_UNITS,
        _probe_coated,
    ),
    Fault(
        "ground-open",
        "the joint from chamber wall to the board's reference parts",
        "as a coated probe, but the probe itself is clean",
        False,
        DEMO_UNITS,
        _ground_open,
    ),
    Fault(
        "board-level-input-dead",
        "the board's own level input parts",
        "as a coated probe; probe and reference joint are right",
        False,
        DEMO_UNITS,
        _board_level_input_dead,
    ),
    Fault(
        "fouled",
        "slime in reservoir, filter, valve and on the probe",
        "several things are a little wrong at once",
        False,
        DEMO_UNITS,
        _fouled,
    ),
)
