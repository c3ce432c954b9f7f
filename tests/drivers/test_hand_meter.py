"""The person on the panel: what was confirmed is all that is known."""

from __future__ import annotations

import asyncio

import pytest

from drivers.hand_meter import HandMeter
from rig.bench.clock import WallClock
from rig.bench.ports import ByHand, Connection, Relays
from rig.errors import Declined, NoAnswer, Stopped
from rig.plan.wiring import InstrumentSpec, Link


def hands(outputs: dict[int, str]) -> HandMeter:
    spec = InstrumentSpec.model_construct(driver="hand-meter", link="table", serial="HM-1", channels=8)
    link = Link.model_construct(protocol="hand", address="table")
    return HandMeter(Connection("hands", spec, "table", link, WallClock(), False, outputs))


async def scene(meter: HandMeter) -> list[tuple[str, bool]]:
    asked: list[tuple[str, bool]] = []

    async def person(output: str, on: bool) -> None:
        asked.append((output, on))

    meter.asks = person
    return asked


def test_nothing_is_known_to_be_off_before_somebody_said_so() -> None:
    async def work() -> None:
        meter = hands({0: "mains", 3: "feed"})
        asked = await scene(meter)
        assert (await meter.read()).value == (True, False, False, True)
        await meter.write_all([False] * 8)
        assert (await meter.read()).value == (False,) * 4
        await meter.write_all([False] * 8)  # nothing may be on: nobody is asked twice
        await meter.write(0, True)
        assert (await meter.read()).value == (True, False, False, False)
        await meter.write_all([False] * 8)
        assert asked == [("", False), ("mains", True), ("", False)]
        assert await meter.identify() == "HM-1"

    asyncio.run(work())
    assert isinstance(hands({}), Relays)
    assert isinstance(hands({}), ByHand)


def test_what_nobody_confirms_stays_unknown() -> None:
    async def refuses(output: str, on: bool) -> None:
        raise Stopped("gone home")

    async def work() -> None:
        meter = hands({0: "mains"})
        with pytest.raises(NoAnswer, match="nobody confirmed that everything is off"):
            await meter.write_all([False])
        await scene(meter)
        await meter.write_all([False])
        meter.asks = refuses
        with pytest.raises(NoAnswer, match=r"mains is on \(gone home\)"):
            await meter.write(0, True)
        assert (await meter.read()).value == (True,)  # it may be on
        with pytest.raises(Declined):
            await meter.write(5, True)
        with pytest.raises(Declined):
            await meter.write_all([True])

    asyncio.run(work())
