"""How fast an inspection runs in lockstep, and what it spends its time on. Prints ratios of one run; asserts nothing.

    python -m tests.benchmarks.bench_lockstep [SEEDS]

The bare round trips are measured in the same process, right before, with the same libraries and without our own
code in between: pymodbus's client against the simulated gateway on a still plant, and a pyvisa query through a thread.
"""

from __future__ import annotations

import asyncio
import statistics
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pyvisa
from pymodbus.client import AsyncModbusTcpClient

from rig.bench.opening import OpenBench, StationOrder, open_bench
from rig.events import RunRecord
from rig.records.ids import new_run_id
from rig.records.store import Store
from rig.run.journal import ListJournal
from rig.run.session import RunRequest, run_procedure
from simulators.plant import Plant
from simulators.station import start
from tests.conftest import bundled_plan

ROUNDS = 2000


async def _bare_modbus(station: Any, between: float) -> float:
    """Mean wall seconds of one exchange, the unit's physics taken off; ``between`` simulated seconds lie between two.

    With physics in between, the libraries' code and data have left the processor's caches, as they have in a run.
    """
    host, port = station.addresses["modbus"]
    client = AsyncModbusTcpClient(host, port=port, timeout=10, retries=0)
    await client.connect()
    TIMER.seconds = 0.0
    began = time.perf_counter()
    for _ in range(ROUNDS):
        if between:
            await station.clock.sleep(between)
        await client.read_discrete_inputs(0, count=24, device_id=2)
    wall = time.perf_counter() - began
    client.close()
    return (wall - TIMER.seconds) / ROUNDS


async def _bare_visa(address: tuple[str, int]) -> float:
    host, port = address
    loop = asyncio.get_running_loop()
    session: Any = await loop.run_in_executor(
        None, lambda: pyvisa.ResourceManager("@py").open_resource(f"TCPIP::{host}::{port}::SOCKET")
    )
    session.read_termination = session.write_termination = "\n"
    times = []
    for _ in range(ROUNDS):
        began = time.perf_counter()
        await loop.run_in_executor(None, session.query, "*IDN?")
        times.append(time.perf_counter() - began)
    session.close()
    return statistics.median(times)


async def bare() -> tuple[float, float, float]:
    """Round trips in seconds: Modbus back to back, Modbus with physics in between, VISA."""
    station = await start(seed=1)
    plant = station.plant
    try:
        back_to_back = await _bare_modbus(station, 0.0)
        visa = await _bare_visa(station.addresses["meter"])
        plant.person("confirm", "door-shut", "done", (), "")
        plant.set_coil(1, 0, True)
        plant.advance(station.clock.now() + 5.0)
        await station.clock.sleep(5.0)
        plant.person("press", "start-button", "done", (), "")
        return back_to_back, await _bare_modbus(station, 0.1), visa
    finally:
        await station.close()


class PlantTimer:
    """Wall seconds spent inside the simulated unit, whichever of its methods was called."""

    METHODS = ("advance", "inputs", "quantity", "meter_sees", "meter_waveform", "person", "set_coil")

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


TIMER = PlantTimer()


@dataclass(frozen=True)
class Inspection:
    """One inspection: wall seconds in all, in the simulated unit, and waiting for the second process to be armed."""

    wall: float
    physics: float
    second: float
    record: RunRecord
    station: Any

    @property
    def own(self) -> float:
        """Wall seconds that are neither the unit's nor the second process's."""
        return self.wall - self.physics - self.second


def inspect(seed: int, journal: Callable[[str], Any]) -> Inspection:
    """Run the incoming inspection in lockstep."""
    benches: list[OpenBench] = []
    plan = bundled_plan()
    TIMER.seconds = 0.0
    began = time.perf_counter()
    record = run_procedure(RunRequest(run=new_run_id(), seed=seed), plan, [], journal, benches.append)
    wall = time.perf_counter() - began
    bench = benches[0]
    return Inspection(wall, TIMER.seconds, bench.live.outputs.guard_seconds, record, bench.station)


async def through_us() -> tuple[float, float]:
    """Wall seconds of one poll of an input and of one meter query, through clock, bus, driver and bench."""
    bench = await open_bench(bundled_plan().bench, StationOrder(unit="demo-18-dc"), lambda event: None)
    live = bench.live
    try:
        began = time.perf_counter()
        for _ in range(ROUNDS):
            await live.state("level-probe")
        poll = (time.perf_counter() - began) / ROUNDS
        began = time.perf_counter()
        for _ in range(ROUNDS):
            await live.instruments["meter-1"].identify()
        return poll, (time.perf_counter() - began) / ROUNDS
    finally:
        await bench.close()


def main() -> None:
    """Print it all."""
    seeds = int(sys.argv[1]) if len(sys.argv) > 1 else 5
    back_to_back, modbus, visa = asyncio.run(bare())
    print(
        f"bare round trips of the libraries: Modbus {back_to_back * 1e6:.0f} us back to back, {modbus * 1e6:.0f} us "
        f"with the unit's physics in between (physics not counted); VISA {visa * 1e6:.0f} us"
    )
    poll, query = asyncio.run(through_us())
    print(f"through clock, bus and driver: poll {poll / back_to_back:.2f} x, query {query / visa:.2f} x the bare one")
    inspect(0, lambda _: ListJournal())  # imports and caches
    for seed in range(seeds):
        one = inspect(seed, lambda _: ListJournal())
        asked, seconds = one.station.exchanges, one.record.ended.seconds
        floor = asked["modbus"] * modbus + asked["meter"] * visa + asked["person"] * modbus
        print(
            f"seed {seed}: {seconds:.0f} s in {one.wall:.3f} s = {seconds / one.wall:.0f} x real time; "
            f"{sum(asked.values())} exchanges; physics {one.physics:.3f} s; second process {one.second:.3f} s; "
            f"the rest / (exchanges x bare) = {one.own / floor:.2f}"
        )
    with tempfile.TemporaryDirectory() as folder:
        store = Store.open(f"sqlite:///{Path(folder) / 'bench.sqlite'}")
        plain = statistics.median(inspect(1, lambda _: ListJournal()).own for _ in range(3))
        kept = statistics.median(inspect(1, store.journal).own for _ in range(3))
        print(f"journal on disk: {kept / plain:.2f} x the wall time (physics apart) without it")


if __name__ == "__main__":
    main()
