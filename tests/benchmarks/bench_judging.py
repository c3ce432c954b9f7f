"""What judging a reading costs, and what the features of a coil's record cost, in times of a bare float addition loop.

    python -m tests.benchmarks.bench_judging

Prints medians in microseconds and ratios of one run; asserts nothing.
"""

from __future__ import annotations

import statistics
import time
from collections.abc import Callable

import numpy as np

from rig.bench.meter_path import MeterReading
from rig.judgement.accuracy import Statement, Term
from rig.limits import Limit
from rig.run.outcome import judged
from rig.run.readings import from_meter
from rig.waveforms.alternating import departure
from rig.waveforms.coil import rise
from rig.waveforms.contacts import chatter
from rig.waveforms.plunger import on_ac, on_dc

STATED = Statement("meter", (Term("share of reading", 5e-5, 0.0, ""), Term("share of range", 0.0, 1e-3, "")))
LIMIT = Limit(20.4, 28.8, "V", "a benchmark", shown_in="V")


def median(work: Callable[[], object], times: int) -> float:
    """Median wall microseconds of one call, over five rounds."""
    rounds = []
    for _ in range(5):
        began = time.perf_counter()
        for _ in range(times):
            work()
        rounds.append((time.perf_counter() - began) / times * 1e6)
    return statistics.median(rounds)


def main() -> None:
    """Print the table."""
    said = MeterReading((24.01, 24.02, 24.0), "V", 100.0, STATED, "", None, 0.0)
    reading = from_meter(said, "V")
    t = np.arange(10_000) * 3e-5 - 0.01
    dc = np.where(t > 0, 0.4 * (1 - np.exp(-np.maximum(t, 0) / 6e-3)), 0.0)
    dc += np.random.default_rng(1).normal(0, 1e-4, t.size)
    ac = np.where(t > 0, 0.6 * np.sin(2 * np.pi * 50 * t), 0.0)
    window = round(0.02 / 3e-5)
    looks = np.arange(10_000) * 0.1
    contact = np.where(looks < 800, 0.0, np.where((looks > 805) | (np.sin(9 * looks) > 0), 1.0, 0.0))
    base = median(lambda: sum(range(1000)), 200)
    rows: list[tuple[str, Callable[[], object], int]] = [
        ("judge a reading", lambda: judged(reading, LIMIT), 2000),
        ("budget, value and text of a reading", lambda: from_meter(said, "V"), 2000),
        ("features of a DC coil, 10,000 points", lambda: rise(dc, 3e-5), 20),
        ("departure of an AC coil, 10,000 points", lambda: departure(ac, window), 20),
        ("chatter of a contact, 10,000 points", lambda: chatter(looks.tolist(), contact.tolist()), 20),
        ("did the plunger move, DC", lambda: on_dc(dc.tolist(), 3e-5), 20),
        ("did the plunger move, AC", lambda: on_ac(ac.tolist(), 3e-5, 0.02), 20),
    ]
    print(f"{'work':45}{'us':>10}{'x sum(range(1000))':>22}")
    for name, work, times in rows:
        cost = median(work, times)
        print(f"{name:45}{cost:10.1f}{cost / base:22.2f}")


if __name__ == "__main__":
    main()
