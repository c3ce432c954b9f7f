"""The control channel: faults in and out from another program, and what the station itself sees."""

import asyncio
import json
import time
from collections.abc import Awaitable, Callable
from typing import Any

import pytest
from peer import Peer, tcp

from simulators.station import Station, start

Ask = Callable[..., Awaitable[dict[str, Any]]]


def with_control(work: Callable[[Station, Ask], Awaitable[None]], **how: Any) -> None:
    async def run() -> None:
        station = await start(**{"seed": 1} | how)
        reader, writer = await asyncio.open_connection(*station.addresses["control"])  # type: ignore[misc]

        async def ask(**request: Any) -> dict[str, Any]:
            writer.write(json.dumps(request).encode() + b"\n")
            said: dict[str, Any] = json.loads(await asyncio.wait_for(reader.readline(), 10.0))
            return said

        try:
            await work(station, ask)
        finally:
            writer.close()
            await station.close()

    asyncio.run(run())


def test_a_fault_of_the_unit_in_and_out() -> None:
    async def work(station: Station, ask: Ask) -> None:
        plant = station.plant
        plant.set_coil(1, 15, True)
        plant.set_coil(4, 8, True)
        plant.set_coil(1, 2, True)
        assert station.clock is not None
        await station.clock.sleep(0.2)
        assert await ask(fault="coil-open", severity=1.0) == {"ok": True}
        assert plant.meter_sees("ohms-4w") > 1e9
        assert await ask(fault="coil-open", severity=0) == {"ok": True}
        assert plant.meter_sees("ohms-4w") < 200.0
        assert await ask(fault="lead-high-ohm") == {"ok": True}

    with_control(work)


def test_a_fault_of_the_wire_in_for_so_many_exchanges_and_out() -> None:
    async def work(station: Station, ask: Ask) -> None:
        peer = await Peer(station, "modbus").open()
        assert await ask(wire="exception-6", on="relays-1", times=1, only=5) == {"ok": True}
        assert await ask(wire="late", on="meter-1", seconds=0.5, times=None) == {"ok": True}
        state = (await ask(state=True))["state"]
        assert state["wire"] == [
            {"wire": "exception-6", "on": "relays-1", "left": 1, "only": "5", "hits": 0},
            {"wire": "late", "on": "meter-1", "left": None, "only": None, "hits": 0},
        ]
        assert (await peer.ask(tcp("05 0011 FF00"))).data == tcp("85 06")
        assert [one["wire"] for one in (await ask(state=True))["state"]["wire"]] == ["late"]
        assert await ask(clear={"wire": "late"}) == {"ok": True, "cleared": 1}
        await ask(wire="silence", on="inputs-1")
        await ask(wire="silence", on="analog-1")
        await ask(wire="relay-stuck-on", on="relays-1", channel=17)
        assert await ask(clear={"on": "inputs-1"}) == {"ok": True, "cleared": 1}
        assert await ask(clear={}) == {"ok": True, "cleared": 2}
        assert station.exchanges["modbus"] == 1
        assert "control" not in station.exchanges
        peer.close()

    with_control(work)


def test_a_cable_pulled_and_plugged_in_again() -> None:
    async def work(station: Station, ask: Ask) -> None:
        peer = await Peer(station, "modbus").open()
        await peer.ask(tcp("01 0000 0008"))
        assert await ask(close="modbus") == {"ok": True}
        await asyncio.sleep(0.002)
        assert peer.cut
        with pytest.raises(ConnectionRefusedError):
            await Peer(station, "modbus").open()
        assert await ask(open="modbus") == {"ok": True}
        again = await Peer(station, "modbus").open()
        assert (await again.ask(tcp("01 0000 0008"))).how == "answered"
        again.close()

    with_control(work)


def test_what_the_station_sees_whatever_the_instruments_say() -> None:
    async def work(station: Station, ask: Ask) -> None:
        assert station.clock is not None
        peer = await Peer(station, "modbus").open()
        assert (await ask(state=True))["state"]["energized"] == []
        await ask(wire="welded-says-off", on="relays-1", channel=0)
        await peer.ask(tcp("05 0006 FF00"))
        await station.clock.sleep(1.0)
        assert (await peer.ask(tcp("02 0000 0001", 2))).data[-1] == 0
        before = time.time()
        state = (await ask(state=True))["state"]
        assert state["energized"] == ["mains", "bus-dc24"]
        assert state["abuses"] == ["mains with the lid open"]
        assert state["now"] == station.clock.now()
        assert state["exchanges"]["modbus"] == 2
        assert abs(state["wall"] - before) < 5.0
        mains, bus = state["outputs"]
        assert (mains["coil"], mains["contact"], mains["coil_changed"]) == (False, True, None)
        assert (bus["name"], bus["instrument"], bus["channel"]) == ("bus-dc24", "relays-1", 6)
        assert bus["coil"] is bus["contact"] is True
        peer.close()

    with_control(work)


def test_at_real_pace_coils_and_contacts_are_stamped_when_they_change() -> None:
    async def work(station: Station, ask: Ask) -> None:
        async def output(channel: int) -> dict[str, Any]:
            outputs: list[dict[str, Any]] = (await ask(state=True))["state"]["outputs"]
            return next((one for one in outputs if one["channel"] == channel), {})

        reader, writer = await asyncio.open_connection(*station.addresses["modbus"])  # type: ignore[misc]
        stamps = [time.time()]
        for value in ("FF00", "0000"):
            writer.write(tcp(f"05 0011 {value}"))
            await asyncio.wait_for(reader.readexactly(12), 10.0)
            stamps.append(time.time())
            async with asyncio.timeout(10.0):
                while (await output(17))["contact"] is not (value == "FF00"):
                    await asyncio.sleep(0.001)
            seen = await output(17)
            assert stamps[-2] <= seen["coil_changed"] <= stamps[-1]
            assert seen["coil_changed"] <= seen["contact_changed"] <= time.time()
            stamps.append(time.time())
        writer.close()

    with_control(work, lockstep=False, speed=20.0)


@pytest.mark.parametrize(
    ("request_", "says"),
    [
        ({}, "exactly one"),
        ({"fault": "coil-open", "state": True}, "exactly one"),
        ({"fault": "coil-opne"}, "did you mean coil-open"),
        ({"fault": "coil-open", "severity": 2}, "0 to 1"),
        ({"fault": "coil-open", "severity": True}, "0 to 1"),
        ({"fault": "coil-open", "strength": 1}, "unknown key 'strength'"),
        ({"fault": 7}, '"fault" is a string'),
        ({"wire": "silent", "on": "relays-1"}, "silence"),
        ({"wire": "silence"}, '"on" is a string'),
        ({"wire": "silence", "on": "relays-1", "times": "3"}, "times"),
        ({"wire": "silence", "on": "relays-1", "second": 3}, "parameter"),
        ({"wire": "words-swapped", "on": "relays-1"}, "power"),
        ({"clear": True}, "object"),
        ({"clear": {"wires": "silence"}}, "unknown key"),
        ({"clear": {"on": "relays-9"}}, "relays-1"),
        ({"close": "modbux"}, "did you mean modbus"),
        ({"open": "scope"}, "control"),
        ({"state": True, "also": 1}, "unknown key"),
    ],
)
def test_what_is_wrong_is_said_and_nothing_is_done(request_: dict[str, Any], says: str) -> None:
    async def work(station: Station, ask: Ask) -> None:
        said = await ask(**request_)
        assert list(said) == ["error"]
        assert says in said["error"]
        assert station.state()["wire"] == []

    with_control(work)


def test_a_line_that_is_no_json_is_an_error_too() -> None:
    async def work(station: Station, ask: Ask) -> None:
        reader, writer = await asyncio.open_connection(*station.addresses["control"])  # type: ignore[misc]
        for line in (b"{\n", b"[]\n", b"\xff\n"):
            writer.write(line)
            assert "error" in json.loads(await asyncio.wait_for(reader.readline(), 10.0))
        writer.close()

    with_control(work)
