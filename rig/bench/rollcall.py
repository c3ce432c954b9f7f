"""The roll call: every instrument says who it is, and the bench file says who it should be."""

from __future__ import annotations

import asyncio
from dataclasses import dataclass

from rig.bench.bench import LiveBench
from rig.bench.opening import StationOrder, open_bench
from rig.errors import InstrumentError, RuleError
from rig.plan.wiring import Bench

SIMULATED = "SIM-"  # how the serial numbers of simulated instruments begin


@dataclass(frozen=True)
class RollCall:
    """How one instrument answered to its name. ``ok`` means that it reported the serial number of the bench file."""

    name: str
    driver: str
    link: str
    expected: str
    reported: str | None
    ok: bool
    says: str
    calibrated_until: str | None


async def call_roll(live: LiveBench) -> list[RollCall]:
    """Ask every instrument in the order of the bench file. Never raises for an instrument."""
    return [await _ask(live, name) for name in live.wiring.instruments]


async def _ask(live: LiveBench, name: str) -> RollCall:
    spec = live.wiring.instruments[name]
    reported: str | None = None
    try:
        reported = await live.instruments[name].identify()
        says = "present" if reported == spec.serial else f"is {reported}, the bench file says {spec.serial}"
    except InstrumentError as error:
        says = error.sentence()
    calibrated = spec.calibrated_until
    return RollCall(name, spec.driver, spec.link, spec.serial, reported, reported == spec.serial, says, calibrated)


def refuse_mixed(wiring: Bench, roll: list[RollCall]) -> None:
    """Simulated and real never mix. Raises RuleError when a real bench reaches a simulated instrument, or the other
    way round: the simulators' instruments carry it in their serial numbers."""
    for entry in roll:
        if entry.reported is not None and entry.reported.startswith(SIMULATED) != wiring.simulated:
            is_one = "is a simulated instrument" if not wiring.simulated else "is not a simulated instrument"
            kind = "simulated" if wiring.simulated else "real"
            raise RuleError(
                f"{entry.name} ({entry.reported}) {is_one}, and this is a {kind} bench",
                "Check the addresses in the bench file: simulated and real instruments never mix.",
                wiring.bench,
            )


def roll_call(wiring: Bench, order: StationOrder) -> list[RollCall]:
    """Open a bench, call the roll, and close it again; nothing is switched. Raises InputError."""

    async def work() -> list[RollCall]:
        opened = await open_bench(wiring, order, lambda event: None)
        try:
            return await call_roll(opened.live)
        finally:
            await opened.close()

    return asyncio.run(work())
