"""The station put together around the simulated unit: start, links, close, real pace."""

import asyncio
import json
from collections.abc import Awaitable, Callable
from typing import Any

import pytest
from pymodbus.client import AsyncModbusTcpClient

from simulators import station as station_module
from simulators.station import Station, list_faults, listener_lines, start
from simulators.wire.link import TcpAddress


def on_station(work: Callable[[Station], Awaitable[Any]], **how: Any) -> Any:
    async def run() -> Any:
        station = await start(**how)
        try:
            return await work(station)
        finally:
            await station.close()
            await station.close()  # twice is harmless

    return asyncio.run(run())


def tcp_addresses(station: Station) -> dict[str, TcpAddress]:
    return {name: address for name, address in station.addresses.items() if isinstance(address, TcpAddress)}


async def modbus(station: Station) -> AsyncModbusTcpClient:
    host, port = tcp_addresses(station)["modbus"]
    client = AsyncModbusTcpClient(host, port=port, timeout=20, retries=0, reconnect_delay_max=2)
    assert await client.connect()
    return client


async def line(station: Station, name: str, sent: bytes) -> str:
    reader, writer = await asyncio.open_connection(*tcp_addresses(station)[name])
    try:
        writer.write(sent + b"\n")
        return (await asyncio.wait_for(reader.readline(), 10.0)).decode().strip()
    finally:
        writer.close()


def test_each_listener_says_where_it_is_and_answers() -> None:
    async def work(station: Station) -> None:
        assert [text.rsplit(":", 1)[0] for text in listener_lines(station)] == [
            "modbus tcp 127.0.0.1",
            "scpi tcp 127.0.0.1",
            "scale tcp 127.0.0.1",
            "person tcp 127.0.0.1",
            "control tcp 127.0.0.1",
        ]
        assert len({port for _, port in tcp_addresses(station).values()}) == 5
        assert await line(station, "meter", b"*IDN?") == "Low Mill Bench Works,SIM-METER,SIM-M1,1"
        shut = {"verb": "confirm", "thing": "door-shut", "kind": "done", "options": [], "unit": ""}
        assert json.loads(await line(station, "person", json.dumps(shut).encode()))["answer"] is True
        client = await modbus(station)
        assert (await client.read_discrete_inputs(15, count=1, device_id=2)).bits[0], "the unit's door is shut"
        client.close()
        assert station.exchanges == {"modbus": 1, "meter": 1, "scale": 0, "person": 1}

    on_station(work)


def test_a_relay_is_seen_by_its_mirror_contact_after_its_own_time() -> None:
    async def work(station: Station) -> None:
        clock, client = station.clock, await modbus(station)
        assert clock is not None

        async def mirror() -> bool:
            read = await clock.exchange("modbus", lambda: client.read_discrete_inputs(6, count=1, device_id=2), 1.0)
            return bool(read.bits[0])

        assert not await mirror()
        await clock.exchange("modbus", lambda: client.write_coil(6, True, device_id=1), 1.0)
        await clock.sleep(0.1)
        assert await mirror()
        assert clock.now() < 0.2
        client.close()

    on_station(work)


def test_the_meter_measures_the_reference_parts_through_the_selectors() -> None:
    async def work(station: Station) -> float:
        clock, client = station.clock, await modbus(station)
        assert clock is not None
        for device, channel in ((1, 15), (4, 18)):
            await clock.exchange("modbus", lambda d=device, c=channel: client.write_coil(c, True, device_id=d), 1.0)
        await clock.sleep(0.1)
        shown = await clock.exchange("meter", lambda: line(station, "meter", b"MEAS:FRES? 1000"), 5.0)
        client.close()
        assert station.plant.abuses == []
        return float(shown)

    assert abs(on_station(work) - 100.0) < 0.1 + 0.05  # the part's own 0.1 %, and the meter's statement
    assert on_station(work, seed=3) == on_station(work, seed=3)


def test_names_that_the_plant_does_not_know_are_refused() -> None:
    with pytest.raises(ValueError, match="demo-18-dc"):
        asyncio.run(start(unit="demo-18-d"))
    with pytest.raises(ValueError, match="coil-open"):
        asyncio.run(start(faults={"coil-opem": 1.0}))
    for speed in (0.0, -1.0, float("nan"), float("inf")):
        with pytest.raises(ValueError, match="speed"):
            asyncio.run(start(lockstep=False, speed=speed))


def test_a_fault_reaches_the_wire() -> None:
    async def heater_open(station: Station) -> str:
        station.plant.set_coil(1, 15, True)
        station.plant.set_coil(4, 8, True)
        station.plant.set_coil(1, 2, True)
        assert station.clock is not None
        await station.clock.sleep(0.1)
        return await line(station, "meter", b"MEAS:FRES?")

    assert on_station(heater_open, faults={"coil-open": 1.0}) == "9.90000000E+37"
    assert 30.0 < float(on_station(heater_open)) < 90.0


def test_faults_are_listed_with_all_that_is_said_of_them() -> None:
    faults = {fault["name"]: fault for fault in list_faults()}
    assert "coil-open" in faults
    for fault in faults.values():
        assert fault.keys() == {"name", "line", "noticed", "site", "units"}
        assert fault["line"]
        assert isinstance(fault["site"], bool)
        assert fault["units"] == sorted(fault["units"])
        assert fault["units"]
    json.dumps(list_faults())


def test_a_closed_listener_drops_its_connections_and_the_others_live_on() -> None:
    async def work(station: Station) -> None:
        reader, writer = await asyncio.open_connection(*tcp_addresses(station)["meter"])
        writer.write(b"*OPC?\n")
        assert await asyncio.wait_for(reader.readline(), 5.0) == b"1\n"
        await station.close_listener("meter")
        with pytest.raises((ConnectionError, asyncio.IncompleteReadError)):
            await asyncio.wait_for(reader.readexactly(1), 5.0)
        writer.close()
        with pytest.raises(ConnectionRefusedError):
            await asyncio.open_connection(*tcp_addresses(station)["meter"])
        client = await modbus(station)
        assert not (await client.read_coils(0, count=1, device_id=1)).isError()
        client.close()
        with pytest.raises(KeyError):
            await station.close_listener("scope")

    on_station(work)


def test_at_real_pace_the_plant_follows_the_wall_and_answers_take_their_time(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(station_module, "PLANT_PERIOD", 0.001)

    async def work(station: Station) -> None:
        assert station.clock is None
        loop = asyncio.get_running_loop()
        client = await modbus(station)
        began = loop.time()
        await client.read_coils(0, count=24, device_id=1)
        assert loop.time() - began >= 0.004 / 20.0 * 0.9
        before = station.plant.now
        await asyncio.sleep(0.02)
        assert station.plant.now >= before + 0.2  # twenty times the wall, nobody asking
        began = loop.time()
        shown = float(await line(station, "meter", b"MEAS:VOLT? 10"))
        assert abs(shown) < 0.1
        assert loop.time() - began >= 0.2 / 20.0
        client.close()

    on_station(work, lockstep=False, speed=20.0)


def test_at_real_pace_pipelined_requests_wait_for_each_other() -> None:
    async def work(station: Station) -> None:
        loop = asyncio.get_running_loop()
        reader, writer = await asyncio.open_connection(*tcp_addresses(station)["modbus"])
        began = loop.time()
        for transaction in (5, 6, 7):
            writer.write(bytes([0, transaction]) + bytes.fromhex("0000 0006 01 01 0000 0001"))
        answers = await asyncio.wait_for(reader.readexactly(30), 10.0)
        assert [answers[k + 1] for k in (0, 10, 20)] == [5, 6, 7]
        assert loop.time() - began >= 3 * 0.004 * 0.9
        writer.close()

    on_station(work, lockstep=False)


def test_what_breaks_in_the_plant_at_real_pace_is_raised_on_close(monkeypatch: pytest.MonkeyPatch) -> None:
    def spoilt(now: float) -> None:
        raise ZeroDivisionError("physics")

    async def work() -> None:
        station = await start(lockstep=False)
        monkeypatch.setattr(station.plant, "advance", spoilt)
        await asyncio.sleep(0.001)
        with pytest.raises(ZeroDivisionError, match="physics"):
            await station.close()

    asyncio.run(work())


def test_samplers_and_meter_on_two_links_give_the_same_run_every_time() -> None:
    """Exchanges on two links overlap in simulated time; nothing depends on the machine."""

    async def work(station: Station) -> list[tuple[float, str]]:
        clock, client = station.clock, await modbus(station)
        assert clock is not None
        trace: list[tuple[float, str]] = []

        async def sample(what: str, every: float, ask: Callable[[], Awaitable[Any]]) -> None:
            for _ in range(40):
                answer = await clock.exchange("modbus", ask, 1.0)
                trace.append((clock.now(), f"{what} {answer.bits or answer.registers}"))
                await clock.sleep(every)

        samplers = [
            clock.spawn(sample("inputs", 0.1, lambda: client.read_discrete_inputs(0, count=24, device_id=2)), "inputs"),
            clock.spawn(sample("analog", 0.1, lambda: client.read_input_registers(0, count=12, device_id=3)), "analog"),
        ]
        for channel in (2, 6, 16, 3):
            await clock.exchange("modbus", lambda c=channel: client.write_coil(c, True, device_id=1), 1.0)
        await clock.exchange("modbus", lambda: client.write_coil(4, True, device_id=4), 1.0)
        for _ in range(8):
            reading = await clock.exchange("meter", lambda: line(station, "meter", b"MEAS:VOLT? 0.1"), 5.0)
            trace.append((clock.now(), reading))
        for task in samplers:
            await clock.join(task)
        client.close()
        return trace

    traces = [on_station(work, seed=7) for _ in range(3)]
    assert len(traces[0]) == 88
    assert traces[0][-1][0] < 5.0
    assert traces.count(traces[0]) == 3
    assert on_station(work, seed=8) != traces[0]
