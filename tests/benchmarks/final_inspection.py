"""The final inspection against every fault that travels with a unit, and against healthy units.

    python -m tests.benchmarks.final_inspection [--seeds 60] [--severity 1 0.8] [--fault NAME ...] [--procedure NAME]
    python -m tests.benchmarks.final_inspection --healthy 500

A cell is a fault, a unit that can have it, and a severity; each is run with so many seeds. It stops at the first unit
that passes with a fault in it, and prints the upper 95 % bound of passing one, all cells pooled (exact binomial). With
severities below 0.8 it goes on and prints the share that is seen: what no step sees is named with 0 %.
"""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from functools import partial

from rig.limits import Verdict
from simulators.plant import FAULTS
from tests.conftest import bundled_plan, run

UNITS = ("demo-18-ac", "demo-18-dc", "demo-24-dc")
MUST_SEE = 0.8  # the severity from which a fault may never pass
Cell = tuple[str, str, float]


def cells(faults: list[str], severities: list[float]) -> Iterator[Cell]:
    """Every fault that stays with the unit, on every unit that can have it."""
    for name, fault in FAULTS.items():
        if not fault.site and (not faults or name in faults):
            yield from ((name, unit, severity) for unit in UNITS if unit in fault.units for severity in severities)


def verdict_of(procedure: str, cell: Cell, seed: int) -> tuple[str, str]:
    """The verdict of one unit, and the first step that was not good."""
    fault, unit, severity = cell
    record = run(bundled_plan(procedure, unit), seed=seed, faults=((fault, severity),) if fault else ())
    bad = (s.name for s in record.steps if s.verdict not in (Verdict.PASS, Verdict.NOT_RUN))
    return str(record.ended.verdict), next(bad, "")


def upper_bound(seen: int, of: int, confidence: float = 0.95) -> float:
    """The largest chance with which so few, or fewer, of so many are still seen with 1 - confidence (Clopper and
    Pearson 1934, one-sided), by halving."""
    if seen >= of:
        return 1.0
    low, high = 0.0, 1.0
    for _ in range(60):
        middle = (low + high) / 2
        term = total = (1.0 - middle) ** of
        for k in range(seen):
            term *= (of - k) / (k + 1) * middle / (1.0 - middle)
            total += term
        low, high = (middle, high) if total > 1.0 - confidence else (low, middle)
    return high


def healthy(procedure: str, count: int, pool: ProcessPoolExecutor) -> int:
    """Units without a fault: how many do not pass."""
    failed = 0
    for n in range(count):
        unit = UNITS[n % len(UNITS)]
        verdict, step = pool.submit(verdict_of, procedure, ("", unit, 0.0), n).result()
        if verdict != "pass":
            failed += 1
            print(f"{unit} seed {n}: {verdict} at {step}", flush=True)
    print(f"{failed} of {count} healthy units did not pass; upper 95 % bound {upper_bound(failed, count):.2%}")
    return 0


def faulty(procedure: str, chosen: list[Cell], seeds: int, pool: ProcessPoolExecutor) -> int:
    """Units with a fault; 1 as soon as one passes that must not."""
    inspected = 0
    for cell in chosen:
        fault, unit, severity = cell
        found = list(pool.map(partial(verdict_of, procedure, cell), range(seeds)))
        passed = [seed for seed, (verdict, _) in enumerate(found) if verdict == "pass"]
        steps = sorted({step for _, step in found if step})
        line = f"{fault:24} {unit:11} {severity:4}: seen in {1 - len(passed) / seeds:4.0%}; first at {', '.join(steps)}"
        print(line, flush=True)
        if severity >= MUST_SEE:
            inspected += seeds
            if passed:
                print(f"FALSE PASS: seed {passed[0]}")
                return 1
    if inspected:
        print(f"0 of {inspected} passed with a fault in them; upper 95 % bound {upper_bound(0, inspected):.3%}")
    return 0


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--seeds", type=int, default=60)
    parser.add_argument("--severity", type=float, nargs="*", default=[1.0, 0.8])
    parser.add_argument("--fault", nargs="*", default=[])
    parser.add_argument("--procedure", default="final-inspection")
    parser.add_argument("--healthy", type=int, default=0)
    parser.add_argument("--workers", type=int, default=2)
    asked = parser.parse_args()
    with ProcessPoolExecutor(asked.workers) as pool:
        if asked.healthy:
            return healthy(asked.procedure, asked.healthy, pool)
        return faulty(asked.procedure, list(cells(asked.fault, asked.severity)), asked.seeds, pool)


if __name__ == "__main__":
    raise SystemExit(main())
