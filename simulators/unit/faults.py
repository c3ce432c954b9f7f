"""What can be wrong with a unit: each fault changes one physical amount, and every reading follows from it.

`Defects` holds those amounts; a healthy unit has the defaults. A fault's `apply` writes its amount for a severity
above 0 and up to 1. Faults that come as a state (a low reservoir, a hot chamber) also have `arrive`, which is
called once, when the fault is set or taken out (severity 0).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from math import inf
from typing import TYPE_CHECKING

from simulators.names import NotPossible, UnknownName
from simulators.unit.models import DEMO_UNITS

if TYPE_CHECKING:
    from simulators.unit.unit import Unit


@dataclass
class Defects:
    """Physical amounts that faults change; the defaults are a healthy unit's."""

    filter_open: float = 1.0  # part of the chamber filter's area
    winding_joint_ohm: float = 0.0  # in series inside the valve's winding
    shorted_turns: float = 0.0  # part of the winding
    plunger_grip: float = 0.0  # N of adhesion at the valve's seat
    probe_deposit_ohm: float = 0.0  # insulating layer on the probe
    ground_ohm: float = 0.0  # in the joint from chamber wall to board reference
    level_input_ohm: float = 0.0  # in the board's own level input
    harness_ohm: float = 0.0  # in the fill valve's lead
    heater_joint_ohm: float = 0.0  # in series inside the heater
    rectifier_paths: int = 2  # half waves that still conduct
    output_ohm: float = 0.0  # in the board's output to the fill valve
    tube_bore: float = inf  # m, narrowest place of the fill tube
    weep_open: float = 1.0  # part of the weep hole's area
    vent_open: float = 1.0  # part of the vent's hole, on top of what its bellows does
    conductivity: float = 1.0  # of the water as a part of what it should be
    tilt_at_owner: float = 0.0  # mm/m, more than the unit's own


@dataclass(frozen=True)
class Fault:
    """`line` says what it is, `noticed` what a technician notices, `site` that it stays at the owner's premises."""

    name: str
    line: str
    noticed: str
    site: bool
    units: frozenset[str]
    apply: Callable[[Defects, float], None]
    arrive: Callable[[Unit, float], None] | None = None


def growing_joint(severity: float, half: float) -> float:
    """Ohm of a joint that parts: `half` at severity 0.5, none at 0, open (infinite) at 1: half (s/(1-s))^3."""
    return inf if severity >= 1.0 else half * (severity / (1.0 - severity)) ** 3


def _filter_choked(defects: Defects, severity: float) -> None:
    # 16 % of the area left at 0.5, 1.5 % at 1: a mesh full of deposit still weeps.
    defects.filter_open = 0.015 + 0.985 * (1.0 - severity) ** 2.8


def _coil_open(defects: Defects, severity: float) -> None:
    defects.winding_joint_ohm = growing_joint(severity, 33.0)


def _plunger_stuck(defects: Defects, severity: float) -> None:
    defects.plunger_grip = 10.8 * severity


def _probe_coated(defects: Defects, severity: float) -> None:
    defects.probe_deposit_ohm = 5e6 * severity**5


def _lead_high_ohm(defects: Defects, severity: float) -> None:
    defects.harness_ohm = 40.0 * (1.0 - (1.0 - severity) ** 2.5)


def _heater_open(defects: Defects, severity: float) -> None:
    defects.heater_joint_ohm = growing_joint(severity, 3.5)


_ALL = (
    Fault(
        "filter-choked",
        "deposit closes the chamber filter's mesh",
        "the fill is slow from the first second, or times out with part of the water in",
        False,
        DEMO_UNITS,
        _filter_choked,
    ),
    Fault(
        "coil-open",
        "a joint inside the fill valve's winding parts",
        "no click, no water; the valve's coil reads open",
        False,
        DEMO_UNITS,
        _coil_open,
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
        "probe-coated",
        "an insulating layer on the level probe",
        "water runs until the unit gives up; the chamber holds far too much",
        False,
        DEMO_UNITS,
        _probe_coated,
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
        "heater-open",
        "a joint inside the heater parts",
        "fills, then stays cold",
        False,
        DEMO_UNITS,
        _heater_open,
    ),
)
FAULTS: dict[str, Fault] = {fault.name: fault for fault in _ALL}



def find(name: str, unit: str) -> Fault:
    """The fault called `name`, if `unit` can have it. Raises UnknownName or NotPossible."""
    if name not in FAULTS:
        raise UnknownName("fault", name, FAULTS)
    fault = FAULTS[name]
    if unit not in fault.units:
        raise NotPossible(f"{unit} cannot have {name}: {fault.line}")
    return fault


def gather(present: Mapping[str, float]) -> Defects:
    """The amounts that all faults of `present` (name to severity above 0) give together."""
    defects = Defects()
    for name, severity in present.items():
        FAULTS[name].apply(defects, severity)
    return defects
