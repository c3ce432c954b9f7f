"""The roll call: every instrument says who it is, and the bench file says who it should be."""

from __future__ import annotations

import asyncio
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime

from rig.bench.bench import LiveBench
from rig.bench.claim import claimed
from rig.bench.opening import StationOrder, open_bench
from rig.errors import InstrumentError, RuleError
from rig.plan.wiring import Bench, HandInstrument

BY_PEOPLE = "people"  # in place of a driver
SIMULATED = "SIM-"  # how the serial numbers of simulated instruments begin


@dataclass(frozen=True)
class RollCall:
    """How one instrument answered to its name. ``ok`` means that it reported the serial number of the bench file, and
    that its calibration has not run out."""

    name: str
    driver: str
    link: str
    expected: str
    reported: str | None
    ok: bool
    says: str
    calibrated_until: str | None


async def call_roll(live: LiveBench, today: date) -> list[RollCall]:
    """Ask every instrument in the order of the bench file; those that only people read cannot say who they are, and
    are held to their papers. Never raises for an instrument."""
    answers = [await _ask(live, name, today) for name in live.wiring.instruments]
    return [*answers, *(_on_paper(name, spec, today) for name, spec in live.wiring.hand_instruments.items())]


def _on_paper(name: str, spec: HandInstrument, today: date) -> RollCall:
    late = _late(spec.calibrated_until, today)
    says = late or "read by people"
    return RollCall(name, BY_PEOPLE, "-", spec.serial, spec.serial, not late, says, spec.calibrated_until)


def _late(until: str | None, today: date) -> str:
    """What to say of a calibration that has run out; nothing of one that has not."""
    over = until is not None and date.fromisoformat(until) < today
    return f"was calibrated until {until}, and today is {today.isoformat()}" if over else ""


def refuse_calibration(roll: Sequence[RollCall]) -> dict[str, str]:
    """The instruments whose calibration does not count, and why: those that answer, and are not as they should be."""
    return {entry.name: entry.says for entry in roll if not entry.ok and entry.reported is not None}


def refuse_out_of_calibration(wiring: Bench, roll: Sequence[RollCall]) -> None:
    """Raises RuleError when the bench file asks for calibrated instruments and one that answers is not one."""
    if wiring.in_order is None or wiring.in_order.calibration == "note":
        return
    for name, says in refuse_calibration(roll).items():
        raise RuleError(f"{name} {says}", "Calibrate or exchange it; the bench file wants it in order.", wiring.bench)


async def _ask(live: LiveBench, name: str, today: date) -> RollCall:
    spec = live.wiring.instruments[name]
    reported: str | None = None
    try:
        reported = await live.instruments[name].identify()
        says = "present" if reported == spec.serial else f"is {reported}, the bench file says {spec.serial}"
    except InstrumentError as error:
        says = error.sentence().removeprefix(f"{name}: ")
    ok, late = reported == spec.serial, _late(spec.calibrated_until, today)
    if ok and late:
        ok, says = False, late
    return RollCall(name, spec.driver, spec.link, spec.serial, reported, ok, says, spec.calibrated_until)


def refuse_mixed(wiring: Bench, roll: Sequence[RollCall]) -> None:
    """Simulated and real never mix. Raises RuleError when a real bench reaches a simulated instrument, or the other
    way round: the simulators' instruments carry it in their serial numbers. On a simulated bench at addresses, one that
    does not say who it is counts as real: this computer may lead on to anything."""
    for entry in roll:
        if entry.reported is None and wiring.simulated and wiring.station is None:
            raise RuleError(
                f"{entry.name} does not say that it is a simulated instrument, and this is a simulated bench",
                f"{entry.says} Look what is at {wiring.links[entry.link].address}.",
                wiring.bench,
            )
        if entry.reported is not None and entry.reported.startswith(SIMULATED) != wiring.simulated:
            is_one = "is a simulated instrument" if not wiring.simulated else "is not a simulated instrument"
            kind = "simulated" if wiring.simulated else "real"
            raise RuleError(
                f"{entry.name} ({entry.reported}) {is_one}, and this is a {kind} bench",
                "Check the addresses in the bench file: simulated and real instruments never mix.",
                wiring.bench,
            )


def roll_call(wiring: Bench, order: StationOrder) -> list[RollCall]:
    """Open a bench, call the roll, and close it again; nothing is switched, also on a latched bench. Raises
    InputError, RuleError when another program holds the bench: two that speak on one line garble each other."""

    async def work() -> list[RollCall]:
        opened = await open_bench(wiring, order, lambda event: None)
        try:
            return await call_roll(opened.live, datetime.now(UTC).date())
        finally:
            await opened.close()

    with claimed(wiring, wiring.links, wiring.station is not None, even_latched=True):
        return asyncio.run(work())
