"""Wires that lie, over whole runs: a unit that does not conform never passes, nothing hangs, each lie is told.

What a lie makes of a run is held against the same run without it, and against what the station itself sees. The long
form, 1,000 draws, is one command:

    RIG_LIES=1000 python -m tests.faults.test_wire_lies
"""

from __future__ import annotations

import os
import random
import re
import sys
import time
from collections import Counter
from dataclasses import dataclass
from functools import cache

import pytest

from rig.bench.opening import OpenBench
from rig.errors import RuleError
from rig.events import Event, RunRecord, StepStarted
from rig.limits import Verdict
from rig.run.journal import ListJournal
from rig.run.session import RunRequest, run_procedure
from simulators.wire.misbehaviour import list_wire_faults
from tests.conftest import bundled_plan

BENCHES = {"simulated": "tcp", "simulated-rtu": "serial"}
INSTRUMENTS = {
    "relays-1": "relays", "relays-2": "relays", "inputs-1": "inputs", "analog-1": "analog", "meter-1": "meter",
    "power-1": "power", "scale-1": "scale",
}  # fmt: skip
UNIT_FAULTS = ("lead-high-ohm", "coil-open", "filter-choked", "probe-coated", "heater-open", "plunger-stuck")
SEEDS = 4  # different units with each fault, so that the run without the lie can be remembered
STEPS = [
    step.step
    for stage in bundled_plan().procedure.stages
    for step in stage.all_steps()
]  # fmt: skip
BAD = (Verdict.FAIL, Verdict.CONDITIONAL_FAIL)
# What a contact that closes by itself does at once, whatever anybody does about it afterwards.
BY_ITSELF = ("welded-says-off", "welded-says-on", "relay-stuck-on")
AT_ONCE = ("mains with the lid open", "ohms on a live circuit")
# s that a step may take beyond the same step without the lie: an attempt more, with the link put in order each time
BEYOND = 60.0


@dataclass(frozen=True)
class Lie:
    """A fault of the wire, put in so many events after a step begins ("": before the roll call), for so many exchanges
    or throughout; and the unit's own fault."""

    bench: str
    kind: str
    instrument: str
    step: str
    later: int
    times: int | None
    unit_fault: str
    seed: int


@dataclass(frozen=True)
class Told:
    """What a run under a lie came to."""

    lie: Lie
    verdict: Verdict
    reason: str
    wrongly_good: tuple[str, ...]  # steps that pass, and failed without the lie
    unnamed: tuple[str, ...]  # reasons for no reading that do not say what is wrong and what to do
    said: tuple[str, ...]  # all reasons for no reading
    longest: float  # s of the bench that a step took beyond the same step without the lie
    wall: float
    left_on: tuple[str, ...]  # said to be off at the end, and on
    abuses: tuple[str, ...]

    @property
    def done(self) -> tuple[str, ...]:
        """Abuses that somebody could have prevented: not those of a contact that closes by itself, where it is found
        and ends the run."""
        found = self.lie.kind in BY_ITSELF and self.verdict is Verdict.STOPPED
        return tuple(abuse for abuse in self.abuses if not (found and abuse.startswith(AT_ONCE)))

    @property
    def good(self) -> bool:
        """No false pass, nothing said to be off that is on, no step beyond its time, every lack of a reading named."""
        return not (
            self.verdict is Verdict.PASS
            or self.wrongly_good
            or self.unnamed
            or self.left_on
            or self.done
            or self.longest > BEYOND
        )


def draw(count: int, seed: int) -> list[Lie]:
    """So many lies, uniformly over benches, kinds, instruments, moments and how long they last."""
    source = random.Random(seed)
    kinds = list_wire_faults()
    lies = []
    while len(lies) < count:
        kind, bench = source.choice(kinds), source.choice(list(BENCHES))
        fits = [name for name, sort in INSTRUMENTS.items() if sort in kind["instruments"]]
        if fits and BENCHES[bench] in kind["wires"]:
            moment = source.choice(fits), source.choice(["", *STEPS]), source.randrange(6)
            times, own = source.choice([1, 2, 5, None]), source.choice(UNIT_FAULTS)
            lies.append(Lie(bench, kind["name"], *moment, times, own, source.randrange(SEEDS)))
    return lies


@cache
def honest(bench: str, unit_fault: str, seed: int) -> RunRecord:
    """The same run without a lie."""
    request = RunRequest(run="test", seed=seed, faults=((unit_fault, 1.0),))
    return run_procedure(request, bundled_plan(bench=bench), [], lambda _: ListJournal())


class Liar:
    """Waits for the moment of a lie and puts it in."""

    def __init__(self, lie: Lie) -> None:
        self._lie, self._since, self._in = lie, -1, False
        self.bench: OpenBench | None = None

    def opened(self, bench: OpenBench) -> None:
        self.bench = bench
        if not self._lie.step:
            self._put_in()

    def watch(self, event: Event) -> None:
        begins = isinstance(event, StepStarted) and event.step == self._lie.step
        if begins or self._since >= 0:
            self._since += 1
        if self._since == self._lie.later and not self._in:
            self._put_in()

    def _put_in(self) -> None:
        self._in = True
        assert self.bench is not None and self.bench.station is not None
        lie, station = self._lie, self.bench.station
        try:
            station.misbehave(lie.kind, lie.instrument, lie.times)
        except ValueError:  # this kind has no exchanges to count: throughout, then
            station.misbehave(lie.kind, lie.instrument)


def tell(lie: Lie) -> Told:
    """Run the inspection under a lie."""
    liar, began = Liar(lie), time.monotonic()
    request = RunRequest(run="test", seed=lie.seed, faults=((lie.unit_fault, 1.0),))
    try:
        record = run_procedure(
            request, bundled_plan(bench=lie.bench), [liar.watch], lambda _: ListJournal(), liar.opened
        )
    except RuleError as refused:
        return _refused(lie, refused, time.monotonic() - began)
    wall = time.monotonic() - began
    assert liar.bench is not None and liar.bench.station is not None
    plant = liar.bench.station.plant
    truth = {step.name: step for step in honest(lie.bench, lie.unit_fault, lie.seed).steps}
    last = {step.name: step for step in record.steps}
    reasons = tuple(s.reason or "" for s in record.steps if s.verdict is Verdict.NO_READING)
    return Told(
        lie,
        record.ended.verdict,
        record.ended.reason or "",
        tuple(n for n, s in last.items() if s.verdict is Verdict.PASS and n in truth and truth[n].verdict in BAD),
        tuple(r for r in reasons if not _names(r)),
        reasons,
        max((s.ended - s.started - _took(truth[n]) for n, s in last.items() if n in truth), default=0.0),
        wall,
        tuple(f"relay {n}" for n, on in enumerate(plant.coils(1)) if on) if record.ended.all_off else (),
        tuple(str(abuse) for abuse in plant.abuses),
    )


def _refused(lie: Lie, error: RuleError, wall: float) -> Told:
    """The roll call did not know the bench again: nothing was energized, and the instrument is to be named."""
    said = error.sentence()
    return Told(lie, Verdict.STOPPED, said, (), () if lie.instrument in said else (said,), (said,), 0.0, wall, (), ())


def _took(step: object) -> float:
    return float(step.ended - step.started)  # type: ignore[attr-defined]


def _names(reason: str) -> bool:
    """Who is meant, what happened, and what to do: two sentences, the first with a culprit in front."""
    culprit, colon, rest = reason.partition(": ")
    return bool(colon and culprit) and len(re.findall(r"\. [A-Z]", rest)) >= 1


@pytest.mark.parametrize("lie", draw(40, seed=5), ids=lambda lie: f"{lie.kind}@{lie.instrument},{lie.bench}")
def test_a_lie_never_makes_a_bad_unit_pass(lie: Lie) -> None:
    told = tell(lie)
    assert told.good, told


def main() -> None:
    """The long form: prints what was not good, the reasons that were given, and a table of verdicts."""
    count = int(os.environ.get("RIG_LIES", "1000"))
    told, began = [], time.monotonic()
    reasons: Counter[str] = Counter()
    for lie in draw(count, seed=int(os.environ.get("RIG_SEED", "7"))):
        one = tell(lie)
        told.append(one)
        reasons.update(re.sub(r"\d+", "#", reason) for reason in one.said)
        if not one.good or one.wall > 30:
            print("NOT GOOD" if not one.good else "SLOW", one, flush=True)
        if len(told) % 50 == 0:
            bad = sum(not t.good for t in told)
            print(f"{len(told)} of {count}: {bad} not good; {time.monotonic() - began:.0f} s", flush=True)
    for reason, times in reasons.most_common():
        print(f"{times:6} {reason}")
    print(Counter(str(t.verdict) for t in told))
    many = {name: len({getattr(t.lie, name) for t in told}) for name in ("kind", "instrument", "bench")}
    print(f"{count} lies of {many['kind']} kinds on {many['instrument']} instruments of {many['bench']} benches: "
          f"{sum(not t.good for t in told)} not good; longest step {max(t.longest for t in told):.0f} s of the "
          f"bench beyond its own; slowest run {max(t.wall for t in told):.1f} s, "
          f"{time.monotonic() - began:.0f} s in all")  # fmt: skip
    sys.exit(any(not t.good for t in told))


if __name__ == "__main__":
    main()
