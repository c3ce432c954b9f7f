"""What may be on together: the one table that the check before power and the live bench both ask.

Three exclusive ways to drive a part of the unit: its own board drives and the rig watches; the bench feeds it
through the break-out lead; dead, and only then ohms.
"""

from __future__ import annotations

from collections.abc import Collection

from rig.plan.procedure import Drive
from rig.plan.wiring import Bench

# With these the meter feeds what it measures.
OHMS = ("resistance", "resistance four-wire", "diode", "continuity")

# Inputs whose closed state is water over the heater.
WATER_INPUTS = ("level-probe", "level-relay")

# What a stage's way of driving leaves free to be turned on.
ALLOWED: dict[Drive, frozenset[str]] = {
    "dead": frozenset({"nothing", "air"}),
    "board drives": frozenset({"nothing", "mains", "heater"}),
    "bench feeds": frozenset({"nothing", "bench feed"}),
}


def why_not_on(bench: Bench, output: str, drive: Drive) -> str | None:
    """Why this output may not be turned on in a stage that is driven so; None when it may."""
    energizes = bench.outputs[output].energizes
    if energizes not in ALLOWED[drive]:
        return f"{output} energizes {energizes}, which a stage that is '{drive}' does not allow"
    return None


def why_no_ohms(bench: Bench, drive: Drive, on: Collection[str]) -> str | None:
    """Why a resistance may not be measured now; ``on`` are the outputs not confirmed off."""
    if drive != "dead":
        return f"ohms only when dead, and this stage is '{drive}'"
    live = [name for name in on if bench.outputs[name].energizes != "nothing"]
    if live:
        return f"ohms only when dead, and {', '.join(live)} is not confirmed off"
    return None
