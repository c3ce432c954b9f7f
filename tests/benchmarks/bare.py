"""The bare libraries, with none of our code around them: what our own is measured against."""

from __future__ import annotations

import asyncio
import statistics
import time
from collections.abc import Awaitable, Callable
from dataclasses import dataclass
from types import TracebackType
from typing import Any

import pyvisa
from pymodbus.client import AsyncModbusTcpClient

from simulators.plant import Plant
from simulators.station import start
from simulators.wire.link import Link
from simulators.wire.person import Person

QUERIES = 300


class PlantTimer:
    """Wall seconds spent inside the simulated unit, whichever of its methods was called."""

    METHODS = ("advance", "inputs", "quantity", "socket", "meter_sees", "meter_waveform", "person", "set_coil", "coils")

    def __init__(self) -> None:
        self.seconds = 0.0
        self._inside = False
        for name in self.METHODS:
            setattr(Plant, name, self._timed(getattr(Plant, name)))

    def _timed(self, method: Callable[..., Any]) -> Callable[..., Any]:
        def call(*args: Any) -> Any:
            if self._inside:
                return method(*args)
            self._inside = True
            began = time.perf_counter()
            try:
                return method(*args)
            finally:
                self.seconds += time.perf_counter() - began
                self._inside = False

        return call


@dataclass(frozen=True)
class Asked:
    """One request of a run: on which link, when (s of the station's time), its bytes."""

    link: str
    at: float
    request: bytes


class Script:
    """Everything that is asked of a station while this is entered."""

    def __init__(self) -> None:
        self.asked: list[Asked] = []

    def __enter__(self) -> Script:
        self._hear = hear = Link.hear

        def heard(link: Link, request: bytes) -> Any:
            self.asked.append(Asked(link.name, link.pace.now(), request))
            return hear(link, request)

        Link.hear = heard  # type: ignore[method-assign]
        return self

    def __exit__(self, kind: type[BaseException] | None, fault: BaseException | None, at: TracebackType | None) -> None:
        Link.hear = self._hear  # type: ignore[method-assign]


async def modbus_again(script: Script, seed: int, timer: PlantTimer) -> float:
    """Mean wall seconds of a Modbus exchange when pymodbus's client alone asks all that an inspection has asked, at the
    same times of a station of the same seed. The unit's physics runs in between, and is not counted."""
    station = await start(seed=seed)
    person, clock = Person(station.plant), station.clock
    host, port = station.addresses["modbus"]
    client = AsyncModbusTcpClient(host, port=port, timeout=10, retries=0)
    await client.connect()
    asks = [(a.at, _call(client, a.request) if a.link == "modbus" else None, a.request) for a in script.asked
            if a.link in ("modbus", "person")]  # fmt: skip
    timer.seconds, beside = 0.0, 0.0
    began = time.perf_counter()
    for at, ask, request in asks:
        await clock.sleep_until(at)
        if ask is not None:
            await ask()
        else:
            done = time.perf_counter()
            inside = timer.seconds
            person.serve(request, at)
            beside += time.perf_counter() - done - (timer.seconds - inside)
    wall = time.perf_counter() - began
    client.close()
    await station.close()
    return (wall - timer.seconds - beside) / sum(ask is not None for _, ask, _ in asks)


def _call(client: AsyncModbusTcpClient, adu: bytes) -> Callable[[], Awaitable[Any]]:
    """The library's call that sends such a request (MODBUS Application Protocol V1.1b3, 6.1 to 6.11)."""
    device, function = adu[6], adu[7]
    first, second = int.from_bytes(adu[8:10], "big"), int.from_bytes(adu[10:12], "big")
    if function == 5:
        return lambda: client.write_coil(first, second == 0xFF00, device_id=device)
    if function == 6:
        return lambda: client.write_register(first, second, device_id=device)
    if function == 15:
        bits = [bool(adu[13 + n // 8] >> n % 8 & 1) for n in range(second)]
        return lambda: client.write_coils(first, bits, device_id=device)
    read = {
        1: client.read_coils,
        2: client.read_discrete_inputs,
        3: client.read_holding_registers,
        4: client.read_input_registers,
    }[function]
    return lambda: read(first, count=second, device_id=device)


async def modbus_back_to_back(rounds: int) -> float:
    """Mean wall seconds of a read of 24 inputs, one after the other on a unit that stands still."""
    station = await start(seed=1)
    host, port = station.addresses["modbus"]
    client = AsyncModbusTcpClient(host, port=port, timeout=10, retries=0)
    await client.connect()
    began = time.perf_counter()
    for _ in range(rounds):
        await client.read_discrete_inputs(0, count=24, device_id=2)
    wall = time.perf_counter() - began
    client.close()
    await station.close()
    return wall / rounds


async def visa(rounds: int) -> float:
    """Median wall seconds of a query through a thread."""
    station = await start(seed=1)
    host, port = station.addresses["meter"]
    loop = asyncio.get_running_loop()
    session: Any = await loop.run_in_executor(
        None, lambda: pyvisa.ResourceManager("@py").open_resource(f"TCPIP::{host}::{port}::SOCKET")
    )
    session.read_termination = session.write_termination = "\n"
    times = []
    for _ in range(rounds):
        began = time.perf_counter()
        await loop.run_in_executor(None, session.query, "*IDN?")
        times.append(time.perf_counter() - began)
    session.close()
    await station.close()
    return statistics.median(times)
