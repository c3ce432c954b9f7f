"""How fast an inspection runs in lockstep, and what it spends its time on. Prints ratios of one run; asserts nothing.

    python -m tests.benchmarks.bench_lockstep [--procedure final-inspection] [--rounds 5]

Every round measures the bare libraries (``bare.py``) and ourselves, one right after the other, and the least of all
rounds counts on both sides: whatever else a machine does can only add.
"""

from __future__ import annotations

import argparse
import asyncio
import os
import tempfile
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from rig.bench.opening import OpenBench, StationOrder, open_bench
from rig.events import RunRecord
from rig.records.ids import new_run_id
from rig.records.store import Store
from rig.run.journal import ListJournal
from rig.run.session import RunRequest, run_procedure
from tests.benchmarks import bare
from tests.conftest import bundled_plan

SEED = 1
TRIPS = 1000  # exchanges of a round-trip measurement

TIMER = bare.PlantTimer()


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


def inspect(procedure: str, journal: Callable[[str], Any]) -> Inspection:
    """Run an inspection in lockstep."""
    benches: list[OpenBench] = []
    plan = bundled_plan(procedure)
    TIMER.seconds = 0.0
    began = time.perf_counter()
    record = run_procedure(RunRequest(run=new_run_id(), seed=SEED), plan, [], journal, benches.append)
    wall = time.perf_counter() - began
    bench = benches[0]
    return Inspection(wall, TIMER.seconds, bench.live.outputs.guard_seconds, record, bench.station)


async def through_us() -> tuple[float, float]:
    """Wall seconds of one poll of an input and of one meter query, through clock, bus, driver and bench."""
    bench = await open_bench(bundled_plan().bench, StationOrder(unit="demo-18-dc"), lambda event: None)
    live = bench.live
    try:
        began = time.perf_counter()
        for _ in range(TRIPS):
            await live.state("level-probe")
        poll = (time.perf_counter() - began) / TRIPS
        began = time.perf_counter()
        for _ in range(TRIPS // 2):
            await live.instruments["meter-1"].identify()
        return poll, (time.perf_counter() - began) / (TRIPS // 2)
    finally:
        await bench.close()


@dataclass(frozen=True)
class Round:
    """What one round found; seconds."""

    modbus: float  # bare, an exchange of the inspection
    back_to_back: float  # bare, one poll after the other
    visa: float  # bare, a query
    poll: float  # through us
    query: float
    plain: Inspection
    kept: Inspection  # with the journal on disk
    processor: tuple[float, float]  # seconds of the processor: the bare library's questions, the inspection


def one_round(procedure: str, script: bare.Script, store: Store) -> Round:
    """Everything once, the two sides of every ratio close together."""
    began = time.process_time()
    modbus = asyncio.run(bare.modbus_again(script, SEED, TIMER))
    between = time.process_time()
    plain = inspect(procedure, lambda _: ListJournal())
    processor = (between - began, time.process_time() - between)
    kept = inspect(procedure, store.journal)
    back_to_back = asyncio.run(bare.modbus_back_to_back(TRIPS))
    visa = asyncio.run(bare.visa(TRIPS // 2))
    return Round(modbus, back_to_back, visa, *asyncio.run(through_us()), plain, kept, processor)


def main() -> None:
    """Print it all."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--procedure", default="incoming-inspection")
    parser.add_argument("--rounds", type=int, default=5)
    asked_for = parser.parse_args()
    count, procedure = asked_for.rounds, asked_for.procedure
    with bare.Script() as script:
        inspect(procedure, lambda _: ListJournal())  # imports and caches, too
    with tempfile.TemporaryDirectory() as folder:
        store = Store.open(f"sqlite:///{Path(folder) / 'bench.sqlite'}")
        rounds = [one_round(procedure, script, store) for _ in range(count)]

    def least(of: Callable[[Round], float]) -> float:
        return min(of(r) for r in rounds)

    modbus, visa = least(lambda r: r.modbus), least(lambda r: r.visa)
    print(f"least of {count} rounds; {os.cpu_count()} cores, load {os.getloadavg()[0]:.1f}")
    print(
        f"bare round trips: Modbus {modbus * 1e6:.0f} us (the inspection's own questions at its times, by pymodbus "
        f"alone), {least(lambda r: r.back_to_back) * 1e6:.0f} us back to back; VISA {visa * 1e6:.0f} us"
    )
    poll, query = least(lambda r: r.poll) / least(lambda r: r.back_to_back), least(lambda r: r.query) / visa
    print(f"through clock, bus and driver: poll {poll:.2f} x, query {query:.2f} x the bare one")
    own, wall = least(lambda r: r.plain.own), least(lambda r: r.plain.wall)
    second, physics = least(lambda r: r.plain.second), least(lambda r: r.plain.physics)
    asked, seconds = rounds[0].plain.station.exchanges, rounds[0].plain.record.ended.seconds
    floor = asked["modbus"] * modbus + asked["meter"] * visa + (asked["person"] + asked["scale"]) * modbus
    print(
        f"{procedure}, seed {SEED}: {seconds:.0f} s in {wall:.3f} s = {seconds / wall:.0f} x real time; "
        f"{sum(asked.values())} exchanges"
    )
    print(
        f"  exchanges x bare {floor:.3f} s; physics {physics:.3f} s; waiting for the second process {second:.3f} s; "
        f"our own share: (wall - physics - second process) / (exchanges x bare) = {own / floor:.2f}"
    )
    asking, all_of_it = least(lambda r: r.processor[0]), least(lambda r: r.processor[1])
    print(
        f"  by the processor's own clock, which other programs disturb less, the plan's reading and the unit's physics "
        f"included: inspection / bare questions = {all_of_it / asking:.2f}"
    )
    print(f"journal on disk: {least(lambda r: r.kept.own) / own:.2f} x that")


if __name__ == "__main__":
    main()
