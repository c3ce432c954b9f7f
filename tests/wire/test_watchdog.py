"""A relay board's communication watchdog: set over the wire, kept alive by any word, and otherwise everything falls."""

from __future__ import annotations

import asyncio
from typing import Any

from pymodbus.client import AsyncModbusTcpClient

from simulators.station import Station, start
from simulators.wire.watchdog import REGISTER


async def client_of(station: Station) -> AsyncModbusTcpClient:
    address: Any = station.addresses["modbus"]
    host, port = str(address).rpartition(":")[::2]
    client = AsyncModbusTcpClient(host, port=int(port), timeout=5, retries=0)
    assert await client.connect()
    return client


def in_lockstep(work: Any) -> None:
    async def main() -> None:
        station = await start(seed=1)
        client = await client_of(station)
        try:
            await work(station, client)
        finally:
            client.close()
            await station.close()

    asyncio.run(main())


async def ask(station: Station, question: Any) -> Any:
    assert station.clock is not None
    answer = await station.clock.exchange("modbus", question, 1.0)
    assert not answer.isError()
    return answer


def test_it_reads_back_what_was_set_and_is_off_at_first() -> None:
    async def work(station: Station, client: AsyncModbusTcpClient) -> None:
        assert (await ask(station, lambda: client.read_holding_registers(REGISTER, device_id=1))).registers == [0]
        await ask(station, lambda: client.write_register(REGISTER, 40, device_id=1))
        assert (await ask(station, lambda: client.read_holding_registers(REGISTER, device_id=1))).registers == [40]
        assert (await ask(station, lambda: client.read_holding_registers(REGISTER, device_id=4))).registers == [0]

    in_lockstep(work)


def test_without_a_word_the_coils_fall_at_the_time_that_was_set() -> None:
    async def work(station: Station, client: AsyncModbusTcpClient) -> None:
        assert station.clock is not None
        await ask(station, lambda: client.write_register(REGISTER, 20, device_id=1))
        await ask(station, lambda: client.write_coil(17, True, device_id=1))
        await ask(station, lambda: client.write_coil(3, True, device_id=4))
        heard = station.clock.now()
        while station.clock.now() - heard < 1.9:  # other devices' words do not count
            await ask(station, lambda: client.read_discrete_inputs(0, count=8, device_id=2))
            await station.clock.sleep(0.1)
        assert station.plant.coils(1)[17]
        await station.clock.sleep(0.3)
        await ask(station, lambda: client.read_discrete_inputs(0, count=8, device_id=2))
        assert not any(station.plant.coils(1))
        assert station.plant.coils(4)[3], "the other board has no watchdog set"
        await ask(station, lambda: client.write_coil(17, True, device_id=1))
        assert station.plant.coils(1)[17], "heard from again, it works again"

    in_lockstep(work)


def test_any_word_to_the_board_keeps_it_alive() -> None:
    async def work(station: Station, client: AsyncModbusTcpClient) -> None:
        assert station.clock is not None
        await ask(station, lambda: client.write_register(REGISTER, 10, device_id=1))
        await ask(station, lambda: client.write_coil(17, True, device_id=1))
        for _ in range(30):
            await station.clock.sleep(0.9)
            await ask(station, lambda: client.read_coils(0, count=24, device_id=1))
        assert station.plant.coils(1)[17]

    in_lockstep(work)


def test_at_real_pace_it_counts_seconds_of_the_wall() -> None:
    async def main() -> None:
        station = await start(seed=1, lockstep=False, speed=100.0)
        client = await client_of(station)
        try:
            await client.write_register(REGISTER, 3, device_id=1)
            await client.write_coil(17, True, device_id=1)
            await asyncio.sleep(0.1)  # ten seconds of the station's time
            assert station.plant.coils(1)[17]
            for _ in range(100):
                await asyncio.sleep(0.02)
                if not any(station.plant.coils(1)):
                    break
            assert not any(station.plant.coils(1))
        finally:
            client.close()
            await station.close()

    asyncio.run(main())
