"""Wires that lie, over whole runs: a unit that does not conform never passes, nothing hangs, each lie is told.

The long form, 1,000 draws, is one command:

    RIG_LIES=1000 python -m tests.faults.test_wire_lies
"""

from __future__ import annotations

import os
import random
import sys
import time
from collections import Counter
from dataclasses import dataclass

import pytest

from rig.bench.opening import OpenBench
from rig.events import Event, RunRecord, StepStarted
from rig.limits import Verdict
from rig.run.journal import ListJournal
from rig.run.session import RunRequest, run_procedure
from simulators.wire.misbehaviour import list_wire_faults
from tests.conftest import bundled_plan

INSTRUMENTS = {
    "relays-1": "relays", "relays-2": "relays", "inputs-1": "inputs", "analog-1": "analog", "meter-1": "meter",
}  # fmt: skip
UNIT_FAULTS = ("lead-high-ohm", "coil-open", "filter-choked", "probe-coated", "heater-open", "plunger-stuck")
STEPS = [
    step.step
    for stage in bundled_plan().procedure.stages
    for step in stage.all_steps()
]  # fmt: skip


@dataclass(frozen=True)
class Lie:
    """A fault of the wire, put in when a step begins, for so many exchanges or throughout; and the unit's own fault."""

    kind: str
    instrument: str
    step: str
    times: int | None
    unit_fault: str
    seed: int


@dataclass(frozen=True)
class Told:
    """What a run under a lie came to."""

    lie: Lie
    verdict: Verdict
    reason: str
    named: bool
    wall: float
    energized: bool

    @property
    def good(self) -> bool:
        """No false pass; nothing energized at the end that the rig could reach; the instrument named if blamed."""
        return self.verdict is not Verdict.PASS and self.named


def draw(count: int, seed: int) -> list[Lie]:
    """So many lies, uniformly over kinds, instruments, steps and how long they last."""
    source = random.Random(seed)
    kinds = [(k["name"], k["instruments"]) for k in list_wire_faults() if "tcp" in k["wires"]]
    lies = []
    while len(lies) < count:
        kind, sorts = source.choice(kinds)
        fits = [name for name, sort in INSTRUMENTS.items() if sort in sorts]
        if fits:
            times = source.choice([1, 2, 5, None])
            where = source.choice(fits), source.choice(STEPS)
            lies.append(Lie(kind, *where, times, source.choice(UNIT_FAULTS), source.randrange(10_000)))
    return lies


def tell(lie: Lie) -> Told:
    """Run the inspection under a lie."""
    benches: list[OpenBench] = []
    put_in: list[bool] = []

    def watch(event: Event) -> None:
        if isinstance(event, StepStarted) and event.step == lie.step and not put_in:
            put_in.append(True)
            station = benches[0].station
            assert station is not None
            try:
                station.misbehave(lie.kind, lie.instrument, lie.times)
            except ValueError:  # this kind has no exchanges to count: throughout, then
                station.misbehave(lie.kind, lie.instrument)

    began = time.monotonic()
    request = RunRequest(run="test", seed=lie.seed, faults=((lie.unit_fault, 1.0),))
    record: RunRecord = run_procedure(request, bundled_plan(), [watch], lambda _: ListJournal(), benches.append)
    station = benches[0].station
    assert station is not None
    blamed = [s for s in record.steps if s.verdict is Verdict.NO_READING]
    named = all(s.reason and len(s.reason) > 20 for s in blamed)
    return Told(
        lie,
        record.ended.verdict,
        record.ended.reason or "",
        named,
        time.monotonic() - began,
        any(station.plant.coils(1)),
    )


@pytest.mark.parametrize("lie", draw(40, seed=5), ids=lambda lie: f"{lie.kind}@{lie.instrument}")
def test_a_lie_never_makes_a_bad_unit_pass(lie: Lie) -> None:
    told = tell(lie)
    assert told.good, told
    assert told.wall < 60


def main() -> None:
    """The long form: prints what was not good, and a table of verdicts."""
    count = int(os.environ.get("RIG_LIES", "1000"))
    told, began = [], time.monotonic()
    for lie in draw(count, seed=int(os.environ.get("RIG_SEED", "7"))):
        one = tell(lie)
        told.append(one)
        if not one.good or one.wall > 30:
            print("NOT GOOD" if not one.good else "SLOW", one, flush=True)
    print(Counter(str(t.verdict) for t in told))
    print(f"{count} lies of {len({t.lie.kind for t in told})} kinds: {sum(not t.good for t in told)} not good, slowest "
          f"{max(t.wall for t in told):.1f} s, {time.monotonic() - began:.0f} s in all")  # fmt: skip
    sys.exit(any(not t.good for t in told))


if __name__ == "__main__":
    main()
