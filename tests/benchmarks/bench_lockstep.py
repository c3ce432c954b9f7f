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
from pathlib import Path
from typing import Any

import pyvisa
from pymodbus.client import AsyncModbusTcpClient

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


def inspect(seed: int, journal: Callable[[str], Any]) -> tuple[float, Any, Any, float]:
    """Wall seconds, the record, the station, and wall seconds in the simulated unit, of one inspection."""
    stations: list[Any] = []
    plan = bundled_plan()
    TIMER.seconds = 0.0
    began = time.perf_counter()
    record = run_procedure(
        RunRequest(run=new_run_id(), seed=seed), plan, [], journal, lambda b: stations.append(b.station)
    )
    return time.perf_counter() - began, record, stations[0], TIMER.seconds


def main() -> None:
    seeds = int(sys.argv[1]) if len(sys.argv) > 1 else 5
    back_to_back, modbus, visa = asyncio.run(bare())
    print(
        f"bare round trips of the libraries: Modbus {back_to_back * 1e6:.0f} us back to back, {modbus * 1e6:.0f} us "
        f"with the unit's physics in between (physics not counted); VISA {visa * 1e6:.0f} us"
    )
    inspect(0, lambda _: ListJournal())  # imports and caches
    for seed in range(seeds):
        wall, record, station, physics = inspect(seed, lambda _: ListJournal())
        asked = station.exchanges
        floor = asked["modbus"] * modbus + asked["meter"] * visa + asked["person"] * modbus
        print(
            f"seed {seed}: {record.ended.seconds:.0f} s in {wall:.3f} s = {record.ended.seconds / wall:.0f} x "
            f"real time; {sum(asked.values())} exchanges; physics {physics:.3f} s; "
            f"(wall - physics) / (exchanges x bare) = {(wall - physics) / floor:.2f}"
        )
    with tempfile.TemporaryDirectory() as folder:
        store = Store.open(f"sqlite:///{Path(folder) / 'bench.sqlite'}")
        plain = statistics.median(inspect(1, lambda _: ListJournal())[0] for _ in range(3))
        kept = statistics.median(inspect(1, store.journal)[0] for _ in range(3))
        print(f"journal on disk: {kept / plain:.2f} x the wall time without it")


if __name__ == "__main__":
    main()
