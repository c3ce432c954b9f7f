"""What can be proved of a plan before power is applied. One function a rule; each returns its faults."""

from __future__ import annotations

from rig.errors import Fault
from rig.plan.load import Loaded
from rig.plan.procedure import Procedure


def prove(procedure: Loaded, profile: Loaded | None, bench: Loaded) -> list[Fault]:
    """Every fault of the three files together. Empty where the plan may run."""
    faults: list[Fault] = []
    model = procedure.model
    if isinstance(model, Procedure) and model.needs_unit == "yes" and profile is None:
        faults.append(procedure.fault((), "this procedure needs a unit profile, and none was given"))
    return faults
