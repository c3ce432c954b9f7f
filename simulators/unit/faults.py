"""All faults by name, and what several of them do together."""

from collections.abc import Mapping

from simulators.names import NotPossible, UnknownName
from simulators.unit.defects import Defects
from simulators.unit.fault import Fault
from simulators.unit.faults_dry import DRY_FAULTS
from simulators.unit.faults_fill import FILL_FAULTS
from simulators.unit.faults_heat import HEAT_FAULTS

__all__ = ["FAULTS", "Fault", "find", "gather"]

FAULTS: dict[str, Fault] = {fault.name: fault for fault in (*FILL_FAULTS, *HEAT_FAULTS, *DRY_FAULTS)}


def find(name: str, unit: str) -> Fault:
    """The fault called `name`, if `unit` can have it. Raises UnknownName or NotPossible."""
    if name not in FAULTS:
        raise UnknownName("fault", name, FAULTS)
    fault = FAULTS[name]
    if unit not in fault.units:
        raise NotPossible(f"{unit} cannot have {name} ({fault.line}): it lacks the part")
    return fault


def gather(present: Mapping[str, float], unit: str) -> Defects:
    """The amounts that all faults of `present` (name to severity above 0) give together on `unit`."""
    defects = Defects()
    for name, severity in present.items():
        FAULTS[name].apply(defects, FAULTS[name].extent(severity, unit))
    return defects
