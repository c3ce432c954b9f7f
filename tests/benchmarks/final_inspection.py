"""The final inspection against every fault that travels with a unit, and against healthy units.

    python -m tests.benchmarks.final_inspection [--seeds 60] [--severity 1 0.8] [--fault NAME ...] [--procedure NAME]
    python -m tests.benchmarks.final_inspection --healthy 500

A cell is a fault, a unit that can have it, and a severity; each is run with so many seeds. It stops at the first unit
that passes with a fault in it, and prints the upper 95 % bound of passing one, all cells pooled (exact binomial).
``--go-on`` names all of them instead. With severities below 0.8 it goes on and prints the share that is seen: what no
step sees is named with 0 %.

A run's verdict is the worst of its steps, so the first step that finds something settles that the unit does not pass:
the run is stopped there, with everything off, unless ``--whole`` is given. A step without a reading, or stopped by the
rig, settles the same and is told apart, for it is no finding. Runs are spread over ``--workers`` processes.
"""

from __future__ import annotations

import argparse
from collections import Counter
from collections.abc import Iterator
from concurrent.futures import Future, ProcessPoolExecutor
from functools import cache

from rig.errors import Stopped
from rig.events import Event, StepEnded
from rig.limits import Verdict
from rig.plan.plan import Plan
from rig.run.journal import ListJournal
from rig.run.session import RunRequest, run_procedure
from simulators.plant import FAULTS
from tests.conftest import bundled_plan

UNITS = ("demo-18-ac", "demo-18-dc", "demo-24-dc")
MUST_SEE = 0.8  # the severity from which a fault may never pass
GOOD = (Verdict.PASS, Verdict.NOT_RUN)
FOUND = (Verdict.FAIL, Verdict.CONDITIONAL_FAIL, Verdict.CONDITIONAL_PASS)
AHEAD = 8  # runs handed out before the first is asked for, a worker
Cell = tuple[str, str, float]


def cells(faults: list[str], severities: list[float], units: list[str]) -> Iterator[Cell]:
    """Every fault that stays with the unit, on every unit that can have it."""
    for name, fault in FAULTS.items():
        if not fault.site and (not faults or name in faults):
            yield from ((name, unit, severity) for unit in units if unit in fault.units for severity in severities)


@cache
def plan_of(what: tuple[str, str], unit: str) -> Plan:
    """Of a procedure and a bench; one a process, for proofs and files cost as much as a short run."""
    procedure, bench = what
    return bundled_plan(procedure, unit, bench)


class FirstFinding:
    """Ends a run at the first step that finds something. A run that is at its end already, for an instrument is lost or
    an interlock has dropped, writes down steps that are no finding: it is left alone."""

    def __init__(self) -> None:
        self._found = False

    def __call__(self, event: Event) -> None:
        """Raises Stopped, once."""
        if not self._found and isinstance(event, StepEnded) and event.result.verdict in FOUND:
            self._found = True
            raise Stopped("it does not pass any more", "", event.result.name)


def verdict_of(what: tuple[str, str], cell: Cell, seed: int, whole: bool = False) -> tuple[bool, str]:
    """Whether a unit passes, and the first step that was not good; one that is no finding with its verdict."""
    fault, unit, severity = cell
    request = RunRequest(run="benchmark", seed=seed, faults=((fault, severity),) if fault else ())
    listeners = [] if whole else [FirstFinding()]
    record = run_procedure(request, plan_of(what, unit), listeners, lambda _: ListJournal())
    bad = next((s for s in record.steps if s.verdict not in GOOD), None)
    if bad is None:
        return record.ended.verdict is Verdict.PASS, ""
    return False, bad.name if bad.verdict in FOUND else f"{bad.name} ({bad.verdict})"


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


class Runs:
    """Runs of units in several processes, given back in the order in which they were asked for."""

    def __init__(self, what: tuple[str, str], whole: bool, workers: int) -> None:
        self._what, self._whole, self._ahead = what, whole, AHEAD * workers
        self._pool = ProcessPoolExecutor(workers)

    def each(self, asked: Iterator[tuple[Cell, int]]) -> Iterator[tuple[Cell, int, bool, str]]:
        """Cell, seed, whether it passed, and the first step that was not good."""
        waiting: list[tuple[Cell, int, Future[tuple[bool, str]]]] = []
        for cell, seed in asked:
            waiting.append((cell, seed, self._pool.submit(verdict_of, self._what, cell, seed, self._whole)))
            if len(waiting) >= self._ahead:
                first = waiting.pop(0)
                yield first[0], first[1], *first[2].result()
        for cell, seed, result in waiting:
            yield cell, seed, *result.result()

    def stop(self) -> None:
        """What was not begun is not run any more."""
        self._pool.shutdown(cancel_futures=True)


def healthy(runs: Runs, count: int, units: list[str], begin: int) -> int:
    """Units without a fault: how many do not pass."""
    failed = 0
    asked = ((("", units[n % len(units)], 0.0), n) for n in range(begin, begin + count))
    for done, ((_, unit, _), seed, passed, step) in enumerate(runs.each(asked), 1):
        if not passed:
            failed += 1
            print(f"{unit} seed {seed}: first at {step}", flush=True)
        if done % 50 == 0 or done == count:
            bound = upper_bound(failed, done)
            print(f"{failed} of {done} healthy units did not pass; upper 95 % bound {bound:.2%}", flush=True)
    return 0


def faulty(runs: Runs, chosen: list[Cell], seeds: range, go_on: bool) -> int:
    """Units with a fault; 1 when one passes that must not."""
    inspected = missed = 0
    found: dict[Cell, Counter[str]] = {cell: Counter() for cell in chosen}
    for cell, seed, passed, step in runs.each((cell, seed) for cell in chosen for seed in seeds):
        found[cell]["passed" if passed else step] += 1
        inspected += cell[2] >= MUST_SEE
        if passed and cell[2] >= MUST_SEE:
            missed += 1
            print(f"FALSE PASS: {cell[0]}={cell[2]} on {cell[1]}, seed {seed}", flush=True)
            if not go_on:
                return 1
        if found[cell].total() == len(seeds):
            print(_row(cell, found[cell]), flush=True)
    unseen = [
        f"{fault}={severity} on {unit}" for (fault, unit, severity), steps in found.items() if set(steps) == {"passed"}
    ]
    print(f"no step sees: {', '.join(unseen) or 'nothing that was tried'}")
    if inspected:
        bound = upper_bound(missed, inspected)
        print(f"{missed} of {inspected} passed with a fault in them; upper 95 % bound {bound:.3%}")
    return 1 if missed else 0


def _row(cell: Cell, steps: Counter[str]) -> str:
    seen = 1 - steps["passed"] / steps.total()
    where = ", ".join(f"{step} {n}" for step, n in steps.most_common() if step != "passed")
    return f"{cell[0]:24} {cell[1]:11} {cell[2]:4}: seen in {seen:4.0%}; first at {where or 'no step'}"


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--seeds", type=int, default=60)
    parser.add_argument("--from-seed", type=int, default=0)
    parser.add_argument("--severity", type=float, nargs="*", default=[1.0, 0.8])
    parser.add_argument("--fault", nargs="*", default=[])
    parser.add_argument("--unit", nargs="*", default=list(UNITS), choices=UNITS)
    parser.add_argument("--procedure", default="final-inspection")
    parser.add_argument("--healthy", type=int, default=0)
    parser.add_argument("--bench", default="simulated")
    parser.add_argument("--whole", action="store_true", help="run every inspection to its end")
    parser.add_argument("--go-on", action="store_true", help="do not stop at the first false pass")
    parser.add_argument("--workers", type=int, default=2)
    asked = parser.parse_args()
    runs = Runs((asked.procedure, asked.bench), asked.whole, asked.workers)
    try:
        if asked.healthy:
            return healthy(runs, asked.healthy, asked.unit, asked.from_seed)
        seeds = range(asked.from_seed, asked.from_seed + asked.seeds)
        return faulty(runs, list(cells(asked.fault, asked.severity, asked.unit)), seeds, asked.go_on)
    finally:
        runs.stop()


if __name__ == "__main__":
    raise SystemExit(main())
