"""How much faster than real time the simulated unit's physics are, and what more time and more units cost.

    python -m tests.benchmarks.bench_physics [ROUNDS]

Prints ratios of one run, in processor time of this process: whatever else the machine does does not count. The least
of all rounds counts. Asserts nothing.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable

from simulators.plant import Plant
from simulators.unit.nominals import NOMINALS

SEED = 1
CYCLE = 2100.0  # s, a whole cycle and a little after it
MAINS, ENABLE = 0, 1
LENGTHS, UNITS = (1, 2, 4, 8), (1, 8, 32)


def begin(unit: str, seed: int = SEED) -> Plant:
    """A cycle has been started, the heater released."""
    plant = Plant(unit, seed)
    plant.person("confirm", "door-shut", "done", [], "")
    plant.set_coil(1, MAINS, True)
    plant.set_coil(1, ENABLE, True)
    plant.advance(5.0)
    plant.person("press", "start-button", "done", [], "")
    return plant


def again(plant: Plant, until: float) -> None:
    """Shut the door that the last cycle released, fill up the reservoir, start again."""
    plant.advance(until)
    plant.person("confirm", "door-shut", "done", [], "")
    plant.person("move", "reservoir-to-mark", "done", [], "")
    plant.person("press", "start-button", "done", [], "")


def cycles(unit: str, count: int) -> None:
    """So many cycles, one after the other."""
    plant = begin(unit)
    for k in range(1, count):
        again(plant, k * CYCLE)
    plant.advance(count * CYCLE)


def side_by_side(count: int) -> None:
    """So many units through a cycle, second by second in turn."""
    plants = [begin("demo-18-dc", seed) for seed in range(count)]
    for second in range(6, round(CYCLE)):
        for plant in plants:
            plant.advance(float(second))


def least(rounds: int, work: Callable[[], None]) -> float:
    """Processor seconds."""
    found = []
    for _ in range(rounds):
        began = time.process_time()
        work()
        found.append(time.process_time() - began)
    return min(found)


def main() -> None:
    rounds = int(sys.argv[1]) if len(sys.argv) > 1 else 3
    for unit in NOMINALS:
        took = least(rounds, lambda unit=unit: cycles(unit, 1))  # type: ignore[misc]
        print(f"{unit}: {CYCLE / took:.0f} x real time over a whole cycle")
    alone = least(rounds, lambda: cycles("demo-18-dc", 1))
    for count in LENGTHS:
        took = least(rounds, lambda count=count: cycles("demo-18-dc", count))  # type: ignore[misc]
        print(f"{count} cycles one after the other: {took / alone / count:.2f} of the cost of as many alone")
    single = least(rounds, lambda: side_by_side(1))
    for count in UNITS:
        took = least(rounds, lambda count=count: side_by_side(count))  # type: ignore[misc]
        print(f"{count} units side by side: {took / single / count:.2f} of the cost of as many alone")


if __name__ == "__main__":
    main()
