"""How fast the wires are polled, at real pace. Prints ratios of one run; asserts nothing.

    python -m tests.benchmarks.bench_wires [ROUNDS]

A serial line at 19,200 baud over a pseudo-terminal: one cycle (contacts, coils, ten analog channels) against the least
that the line itself takes, 11 bits a character and 3.5 characters between frames (MODBUS over Serial Line V1.02,
2.5.1), and against the bare library on the same line. And 1, 8 and 32 TCP connections polled at once by our driver and
by the bare library, one after the other, answered by the same few lines of code in the same process.
"""

from __future__ import annotations

import asyncio
import os
import sys
import time
from collections.abc import Awaitable, Callable
from dataclasses import dataclass
from typing import Any

from pymodbus import FramerType
from pymodbus.client import AsyncModbusSerialClient, AsyncModbusTcpClient

from drivers.analog import open_analog
from drivers.inputs import open_inputs
from drivers.modbus_bus import ModbusBus
from drivers.modbus_line import TcpLine
from drivers.relays import open_relays
from rig.bench.clock import WallClock
from rig.bench.ports import Connection
from rig.plan.wiring import InstrumentSpec, Link
from simulators.station import DEVICE_SECONDS, Station, start

CYCLES = 40  # of the serial line, a round and side
BAUD, BITS, GAP = 19_200, 11, 3.5
# bytes of question and answer on a serial line: 24 inputs, 24 coils, 10 registers
FRAMES = ((8, 8), (8, 8), (8, 25))
CONNECTIONS, SECONDS = (1, 8, 32), 1.0

Poll = Callable[[], Awaitable[Any]]


def line_seconds() -> float:
    """The least that a cycle takes on the line, without what the modules take to act."""
    characters = sum(asked + said + 2 * GAP for asked, said in FRAMES)
    return characters * BITS / BAUD


async def cycles(polls: list[Poll]) -> float:
    """Mean seconds of a cycle."""
    for poll in polls:
        await poll()
    began = time.perf_counter()
    for _ in range(CYCLES):
        for poll in polls:
            await poll()
    return (time.perf_counter() - began) / CYCLES


def instrument(path: str, device: int, channels: int, clock: WallClock) -> Connection:
    spec = InstrumentSpec(driver="x", link="modbus", device=device, channels=channels, serial="S")
    link = Link(protocol="modbus-rtu", address=path, baud=BAUD, parity="none")
    return Connection(f"module {device}", spec, "modbus", link, clock, simulated=True)


async def serial_ours(path: str) -> float:
    clock, shared = WallClock(), dict[str, Any]()
    inputs = await open_inputs(instrument(path, 2, 24, clock), shared)
    relays = await open_relays(instrument(path, 1, 24, clock), shared)
    analog = await open_analog(instrument(path, 3, 12, clock), shared)
    try:
        return await cycles([inputs.read, relays.read, lambda: analog.read_raw(0, 10)])
    finally:
        await relays.close()
        await asyncio.sleep(0.05)


async def serial_bare(path: str) -> float:
    client = AsyncModbusSerialClient(path, framer=FramerType.RTU, baudrate=BAUD, stopbits=2, timeout=5, retries=0)
    await client.connect()
    try:
        return await cycles([
            lambda: client.read_discrete_inputs(0, count=24, device_id=2),
            lambda: client.read_coils(0, count=24, device_id=1),
            lambda: client.read_input_registers(0, count=10, device_id=3),
        ])  # fmt: skip
    finally:
        client.close()
        await asyncio.sleep(0.05)


async def serial_round() -> tuple[float, float]:
    station: Station = await start(lockstep=False, wiring="serial")
    try:
        path = str(station.addresses["modbus"])
        return await serial_ours(path), await serial_bare(path)
    finally:
        await station.close()


class Eight(asyncio.Protocol):
    """Eight coils, all off, for whoever asks anything: the least that a module can be."""

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        self._transport: Any = transport

    def data_received(self, data: bytes) -> None:
        for at in range(0, len(data), 12):  # a question of reading has 12 bytes
            self._transport.write(data[at : at + 2] + b"\0\0\0\4" + data[at + 6 : at + 8] + b"\1\0")


@dataclass(frozen=True)
class Polled:
    """What a second of polling came to."""

    each: float  # polls a second
    p99: float  # s; of the periods between two polls of a connection, all but one in a hundred are shorter


async def poll_all(polls: list[Poll]) -> Polled:
    periods: list[float] = []
    until = time.perf_counter() + SECONDS

    async def one(poll: Poll) -> None:
        await poll()
        last = time.perf_counter()
        while last < until:
            await poll()
            now = time.perf_counter()
            periods.append(now - last)
            last = now

    began = time.perf_counter()
    await asyncio.gather(*(one(poll) for poll in polls))
    took = time.perf_counter() - began
    return Polled(len(periods) / took, sorted(periods)[int(0.99 * len(periods))])


async def at_once(count: int) -> tuple[Polled, Polled]:
    """Ours, and the bare library."""
    server = await asyncio.get_running_loop().create_server(Eight, "127.0.0.1", 0)
    port = server.sockets[0].getsockname()[1]
    clock = WallClock()
    buses = [ModbusBus(f"link {n}", TcpLine(f"link {n}", f"127.0.0.1:{port}"), clock) for n in range(count)]
    clients = [AsyncModbusTcpClient("127.0.0.1", port=port, timeout=5, retries=0) for _ in range(count)]
    try:
        for client in clients:
            await client.connect()
        ours = await poll_all([_ours(bus) for bus in buses])
        return ours, await poll_all([_bare(client) for client in clients])
    finally:
        for bus in buses:
            bus.close()
        for client in clients:
            client.close()
        server.close()


def _ours(bus: ModbusBus) -> Poll:
    return lambda: bus.read_bits("module", 1, 1, 0, 8)


def _bare(client: AsyncModbusTcpClient) -> Poll:
    return lambda: client.read_coils(0, count=8, device_id=1)


def main() -> None:
    """Print it all."""
    rounds = int(sys.argv[1]) if len(sys.argv) > 1 else 3
    print(f"least of {rounds} rounds; {os.cpu_count()} cores, load {os.getloadavg()[0]:.1f}")
    serial = [asyncio.run(serial_round()) for _ in range(rounds)]
    ours, bare = (min(side) for side in zip(*serial, strict=True))
    line, with_devices = line_seconds(), line_seconds() + len(FRAMES) * DEVICE_SECONDS
    print(
        f"serial, {BAUD} baud, three modules: cycle {ours * 1e3:.1f} ms; {ours / line:.2f} x the line's own least "
        f"({line * 1e3:.1f} ms), {ours / with_devices:.2f} x that with what the modules take ({with_devices * 1e3:.1f} "
        f"ms), {ours / bare:.2f} x the bare library ({bare * 1e3:.1f} ms, which keeps no silence between frames)"
    )
    for count in CONNECTIONS:
        told = [asyncio.run(at_once(count)) for _ in range(rounds)]
        mine, others = ([pair[side] for pair in told] for side in (0, 1))
        each = [max(p.each for p in side) for side in (mine, others)]
        p99 = [min(p.p99 for p in side) for side in (mine, others)]
        print(
            f"tcp, {count:2} at once: {each[0]:.0f} polls/s = {each[0] / each[1]:.2f} x the bare library; "
            f"period p99 {p99[0] * 1e3:.2f} ms = {p99[0] / p99[1]:.2f} x"
        )


if __name__ == "__main__":
    main()
