"""The Modbus gateway over a real socket, with pymodbus's client and with raw bytes."""

import asyncio
from collections.abc import Awaitable, Callable
from typing import Any

import pytest
from fake_plant import FakePlant
from pymodbus.client import AsyncModbusTcpClient

from simulators.clock import LockstepClock
from simulators.instruments import ANALOG
from simulators.wire import Pace
from simulators.wire.devices import BenchDevices
from simulators.wire.link import Link, TcpAddress
from simulators.wire.modbus import EXCHANGE_SECONDS, JITTER_SECONDS, ModbusGateway
from simulators.wire.tcp import TcpListener


class Bench:
    """A gateway on a loopback port, its plant, clock and a connected client."""

    def __init__(self, seed: int = 0) -> None:
        self.plant = FakePlant()
        self.clock = LockstepClock()
        self.counts = {"modbus": 0}
        gateway = ModbusGateway(BenchDevices(self.plant, seed).tables, self.plant.advance, seed)
        self.listener = TcpListener(Link("modbus", gateway, Pace(self.clock.now, self.clock), self.counts))
        self.address: TcpAddress
        self.client: AsyncModbusTcpClient

    async def ask(self, call: Callable[[AsyncModbusTcpClient], Awaitable[Any]], timeout: float = 1.0) -> Any:
        return await self.clock.exchange("modbus", lambda: call(self.client), timeout)


def on_bench(work: Callable[[Bench], Awaitable[None]], seed: int = 0) -> None:
    async def run() -> None:
        bench = Bench(seed)
        bench.address = await bench.listener.open()
        host, port = bench.address
        bench.client = AsyncModbusTcpClient(host, port=port, timeout=20, retries=0, reconnect_delay_max=2)
        assert await bench.client.connect()
        try:
            await work(bench)
        finally:
            bench.client.close()
            await bench.listener.close()

    asyncio.run(run())


async def raw(bench: Bench, sent: bytes, length: int) -> bytes:
    """Send bytes on a connection of their own and read so many back (fewer if it closes)."""
    reader, writer = await asyncio.open_connection(*bench.address)
    writer.write(sent)
    try:
        return await asyncio.wait_for(reader.readexactly(length), 5.0)
    except asyncio.IncompleteReadError as cut:
        return cut.partial
    except ConnectionResetError:
        return b"reset"
    finally:
        writer.close()


def test_coils_are_written_and_read_back_and_each_exchange_takes_its_time() -> None:
    thirds = [k % 3 == 0 for k in range(24)]

    async def work(bench: Bench) -> None:
        for board in (1, 4):
            written = await bench.ask(lambda c, board=board: c.write_coil(3, True, device_id=board))
            assert not written.isError()
            assert bench.plant.boards[board][3]
            read = await bench.ask(lambda c, board=board: c.read_coils(0, count=24, device_id=board))
            assert read.bits == [k == 3 for k in range(24)]
            await bench.ask(lambda c, board=board: c.write_coils(0, thirds, device_id=board))
            assert bench.plant.boards[board] == thirds
            part = await bench.ask(lambda c, board=board: c.read_coils(6, count=4, device_id=board))
            assert part.bits[:4] == [True, False, False, True]
        assert bench.counts["modbus"] == 8
        assert 8 * EXCHANGE_SECONDS <= bench.clock.now() <= 8 * (EXCHANGE_SECONDS + JITTER_SECONDS)
        assert bench.plant.times[-1] < bench.clock.now()  # the plant is looked at before the cost goes by

    on_bench(work)


def test_inputs() -> None:
    async def work(bench: Bench) -> None:
        bench.plant.inputs_closed = [k in (0, 17, 23) for k in range(24)]
        read = await bench.ask(lambda c: c.read_discrete_inputs(0, count=24, device_id=2))
        assert read.bits == bench.plant.inputs_closed
        one = await bench.ask(lambda c: c.read_discrete_inputs(17, count=1, device_id=2))
        assert one.bits[0]

    on_bench(work)


def test_analog_counts_mean_the_true_value_within_the_stated_accuracy() -> None:
    true = {0: 134.2, 2: 71.0, 3: 22.4, 4: 304.1e3, 5: 512.0, 6: 6.52, 7: 229.1, 8: 418.0, 9: 0.042}

    async def work(bench: Bench) -> None:
        bench.plant.values.update(true)
        seen: dict[int, set[int]] = {channel: set() for channel in true}
        for _ in range(50):
            read = await bench.ask(lambda c: c.read_input_registers(0, count=12, device_id=3))
            assert read.registers[1] == read.registers[10] == read.registers[11] == 0
            for channel, scale in ANALOG.items():
                counts = read.registers[channel]
                seen[channel].add(counts)
                value = counts / scale.raw[1] * scale.means[1]
                step = scale.means[1] / scale.raw[1]
                assert abs(value - true[channel]) <= scale.accuracy + step / 2
        assert all(len(counts) > 3 for channel, counts in seen.items() if channel != 4), "noise on every channel"

    for seed in range(5):
        on_bench(work, seed)


def test_analog_channels_stop_at_their_ends_and_do_not_disturb_each_other() -> None:
    async def trace(bench: Bench, also: int) -> list[int]:
        counts = []
        for _ in range(5):
            counts += (await bench.ask(lambda c: c.read_input_registers(0, count=1, device_id=3))).registers
            for _ in range(also):
                await bench.ask(lambda c: c.read_input_registers(6, count=2, device_id=3))
        return counts

    traces: list[list[int]] = []

    async def ends(bench: Bench) -> None:
        bench.plant.values.update({0: -40.0, 6: 500.0})
        read = await bench.ask(lambda c: c.read_input_registers(0, count=12, device_id=3))
        assert (read.registers[0], read.registers[6]) == (0, 20000)

    async def alone(bench: Bench) -> None:
        bench.plant.values[0] = 50.0
        traces.append(await trace(bench, 0))

    async def beside_another(bench: Bench) -> None:
        bench.plant.values[0] = 50.0
        traces.append(await trace(bench, 3))

    on_bench(ends)
    on_bench(alone)
    on_bench(beside_another)
    assert traces[0] == traces[1]


@pytest.mark.parametrize(("device", "serial"), [(1, "SIM-R1"), (4, "SIM-R2"), (2, "SIM-I1"), (3, "SIM-A1")])
def test_every_device_carries_its_serial_number(device: int, serial: str) -> None:
    async def work(bench: Bench) -> None:
        read = await bench.ask(lambda c: c.read_holding_registers(0, count=8, device_id=device))
        text = b"".join(register.to_bytes(2, "big") for register in read.registers).decode("ascii")
        assert text == serial.ljust(16)

    on_bench(work)


@pytest.mark.parametrize(
    ("device", "pdu", "code"),
    [
        (1, "02 00 00 00 01", 1),  # inputs of a relay board
        (1, "04 00 00 00 01", 1),
        (2, "01 00 00 00 01", 1),
        (2, "05 00 00 FF 00", 1),
        (3, "0F 00 00 00 01 01 01", 1),
        (1, "06 00 00 00 01", 2),  # the serial number cannot be written, only the watchdog
        (1, "10 00 00 00 01 02 00 01", 2),
        (2, "06 00 10 00 01", 1),  # a module without outputs has no watchdog
        (1, "08 00 00 12 34", 1),  # a function that nobody here has
        (1, "2B 0E 01 00", 1),
        (1, "01 00 18 00 01", 2),  # coil 24
        (1, "01 00 17 00 02", 2),
        (1, "01 FF FF 00 02", 2),
        (1, "05 00 18 FF 00", 2),
        (1, "0F 00 10 00 09 02 FF 01", 2),
        (2, "02 00 00 00 19", 2),
        (3, "04 00 0C 00 01", 2),
        (3, "03 00 00 00 09", 2),
        (1, "01 00 00 00 00", 3),  # no coil at all
        (1, "01 00 00 07 D1", 3),  # 2001
        (3, "04 00 00 00 7E", 3),  # 126
        (1, "05 00 00 12 34", 3),  # neither on nor off
        (1, "0F 00 00 00 09 01 FF", 3),  # nine coils in one byte
        (1, "0F 00 00 00 08 01", 3),  # the byte is missing
        (1, "01 00 00 00", 3),
        (1, "01 00 00 00 01 00", 3),
    ],
)
def test_what_is_refused_and_with_which_exception(device: int, pdu: str, code: int) -> None:
    async def work(bench: Bench) -> None:
        frame = bytes.fromhex(pdu)
        header = bytes.fromhex("A1B2 0000") + (len(frame) + 1).to_bytes(2, "big") + bytes([device])
        answer = await bench.clock.exchange("modbus", lambda: raw(bench, header + frame, 9), 1.0)
        assert answer == bytes.fromhex("A1B2 0000 0003") + bytes([device, frame[0] | 0x80, code])
        assert not any(map(any, bench.plant.boards.values()))

    on_bench(work)


def test_pipelined_requests_are_answered_in_order_under_their_own_transaction() -> None:
    async def work(bench: Bench) -> None:
        bench.plant.inputs_closed[0] = True
        sent = b"".join(
            transaction.to_bytes(2, "big") + bytes.fromhex(rest)
            for transaction, rest in [
                (7, "0000 0006 01 05 0002 FF00"),
                (9, "0000 0006 02 02 0000 0001"),
                (8, "0000 0006 01 01 0002 0001"),
            ]
        )
        answer = await bench.clock.exchange("modbus", lambda: raw(bench, sent, 12 + 10 + 10), 1.0)
        assert answer == bytes.fromhex(
            "0007 0000 0006 01 05 0002 FF00  0009 0000 0004 02 02 01 01  0008 0000 0004 01 01 01 01"
        )
        assert bench.counts["modbus"] == 3
        assert bench.clock.now() >= 3 * EXCHANGE_SECONDS

    on_bench(work)


def test_a_request_in_pieces_is_put_together() -> None:
    async def work(bench: Bench) -> None:
        reader, writer = await asyncio.open_connection(*bench.address)
        for byte in bytes.fromhex("0001 0000 0006 01 01 0000 0008"):
            writer.write(bytes([byte]))
            for _ in range(5):
                await asyncio.sleep(0)
        assert await asyncio.wait_for(reader.readexactly(10), 5.0) == bytes.fromhex("0001 0000 0004 01 01 01 00")
        writer.close()

    on_bench(work)


@pytest.mark.parametrize("sent", ["0001 0001 0006 01 01 0000 0008", "0001 0000 0001 01", "474554202F2048545450"])
def test_bytes_that_are_not_modbus_end_the_connection(sent: str) -> None:
    async def work(bench: Bench) -> None:
        assert await raw(bench, bytes.fromhex(sent), 1) in (b"", b"reset")
        assert bench.counts["modbus"] == 0

    on_bench(work)


def test_an_unknown_device_is_silent_for_the_whole_timeout() -> None:
    async def work(bench: Bench) -> None:
        with pytest.raises(TimeoutError, match="no answer on modbus"):
            await bench.ask(lambda c: c.read_coils(0, count=1, device_id=9), timeout=0.6)
        assert bench.clock.now() == 0.6
        assert bench.counts["modbus"] == 1

    on_bench(work)


def test_two_samplers_over_the_socket_are_the_same_every_time() -> None:
    async def sample(bench: Bench, device: int, every: float, trace: list[tuple[int, float]]) -> None:
        for _ in range(30):
            if device == 3:
                await bench.ask(lambda c: c.read_input_registers(0, count=12, device_id=3))
            else:
                await bench.ask(lambda c: c.read_discrete_inputs(0, count=24, device_id=2))
            trace.append((device, bench.clock.now()))
            await bench.clock.sleep(every)

    traces: list[list[tuple[int, float]]] = []

    async def work(bench: Bench) -> None:
        trace: list[tuple[int, float]] = []
        first = bench.clock.spawn(sample(bench, 2, 0.1, trace), "inputs")
        second = bench.clock.spawn(sample(bench, 3, 0.1, trace), "analog")
        await bench.clock.join(first)
        await bench.clock.join(second)
        traces.append(trace)

    for _ in range(5):
        on_bench(work)
    assert len(traces[0]) == 60
    assert traces.count(traces[0]) == 5
