"""The relay boards' own communication watchdogs: set at the start, confirmed by read-back."""

from __future__ import annotations

from collections.abc import Mapping

from rig.bench.ports import Instrument, Watchdogged
from rig.bench.watcher import board_names
from rig.errors import OutputError
from rig.plan.safety import BoardWatchdog
from rig.plan.wiring import Bench


async def set_watchdogs(wiring: Bench, instruments: Mapping[str, Instrument]) -> list[str]:
    """Program every board that has a watchdog; what a person must be told: set ones, and boards that have none.

    Raises OutputError when a board does not read back what was set, InstrumentError."""
    said = []
    for name in board_names(wiring):
        spec = wiring.instruments[name].watchdog
        if not isinstance(spec, BoardWatchdog):
            said.append(f"{name} has no communication watchdog: if computer and second process fail, its outputs stay")
            continue
        board = instruments[name]
        if not isinstance(board, Watchdogged):
            raise OutputError("its driver cannot set the watchdog that the bench file gives", "Check the driver.", name)
        wanted = spec.time.to("s")
        got = await board.set_watchdog(spec.register_, spec.unit.to("s"), wanted)
        if abs(got - wanted) > spec.unit.to("s"):
            raise OutputError(
                f"its communication watchdog was set to {wanted:g} s and reads back {got:g} s",
                "Check the register in the bench file.",
                name,
            )
        said.append(f"{name} drops its outputs by itself after {got:g} s of silence")
    return said
