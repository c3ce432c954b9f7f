"""Every interlock of the bundled benches, broken at every kind of step while its output is on: off within the period.

What an interlock looks at is broken from outside: a contact, a value, an output that goes on by itself. The bench
files say which there are, so that a new one is tried without anybody's help. A sample runs with the tests; all of them,
with a table of the longest times, by one command:

    python -m tests.faults.test_every_interlock
"""

from __future__ import annotations

import itertools
import random
import sys
import tempfile
import time
from collections import defaultdict
from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Any, NamedTuple

import pytest

from rig.events import Event, OutputConfirmed, StepStarted
from rig.limits import Verdict
from rig.plan.plan import Plan
from rig.plan.safety import InputHolds, Interlock, OutputHolds, QuantityHolds
from rig.plan.wiring import Bench
from tests.conftest import bundled_plan
from tests.faults.test_interlocks import HEAD, KINDS, Breach, contact, reads, run_and_break

BENCHES = ("simulated", "simulated-rtu")
LATE = {"simulated": 0.15, "simulated-rtu": 0.5}  # s for the exchanges that are under way: a serial line takes its time

FILLED = """      - step: fill
        time:
          from: {input: fill-drive, is: on}
          until: {input: level-probe, is: wet}
          start-within: 60 s
          give-up: 180 s
        start: {ask: Start., verb: press, thing: start-button}
        every: 100 ms
        no-limit: a test
        after-bad: leave out stage
      - step: heater
        switch: {turn-on: [heater-enable]}
"""
LIVE = HEAD[HEAD.index("  - stage: live") :]
BEFORE = HEAD[: HEAD.index("  - stage: live")]
DEAD = LIVE.replace("board drives", "dead")
# How each output comes to be on; the work follows it. The buses of the meter are on only while it measures.
STARTS = {
    "mains": LIVE,
    "heater-enable": LIVE + FILLED,
    "bus-dc24": LIVE.replace("board drives", "bench feeds").replace("[mains]", "[bus-dc24]"),
    "bus-ac24": LIVE.replace("board drives", "bench feeds").replace("[mains]", "[bus-ac24]"),
    "fill-feed": LIVE.replace("board drives", "bench feeds").replace("[mains]", "[fill-feed]"),
    "air-supply": DEAD.replace("[mains]", "[air-supply]"),
    "level-sub-47k": DEAD.replace("[mains]", "[level-sub-47k]"),
    "level-sub-1m": DEAD.replace("[mains]", "[level-sub-1m]"),
    "volts-bus": DEAD.replace("[mains]", "[lamp-red]"),
    "ohms-bus": DEAD.replace("[mains]", "[lamp-red]"),
}

WORK = {
    **{name: f"      - step: work\n        {text}\n" for name, text in KINDS.items()},
    "switch": """      - step: again
        repeat:
          times: 30
          steps:
            - step: work
              switch: {turn-on: [lamp-red]}
            - step: dark
              switch: {turn-off: [lamp-red]}
            - step: waits
              settle: 400 ms
""",
    "compute": """      - step: again
        repeat:
          times: 30
          steps:
            - step: work
              compute: 2 * earth-bond
              in: Ohm
              no-limit: a test
            - step: waits
              settle: 400 ms
""",
    "waveform": """      - step: again
        repeat:
          times: 30
          steps:
            - step: work
              waveform: fill-current
              interval: 1 ms
              for: 400 ms
              judge: highest
              no-limit: a test
""",
    "ohms": """      - step: work
        measure: resistance four-wire
        at: reference-100
        average: 50
        no-limit: a test
""",
}
METER = "measure with the meter"
PARTS = ("steps", "make-ready")  # a stage is dead when its make-safe begins: nothing can be on there


class Case(NamedTuple):
    """A bench, an interlock of it, the output that is on, the kind of step, the part of the stage."""

    bench: str
    lock: str
    output: str
    kind: str
    part: str = "steps"


@cache
def wiring(bench: str) -> Bench:
    return bundled_plan(bench=bench).bench


def breach_of(bench: Bench, lock: Interlock) -> Breach | None:
    """What breaks it from outside; None for what cannot change by itself while the output is on."""
    must = lock.must
    if isinstance(must, InputHolds):
        spec = bench.inputs[must.input]
        return contact(spec.channel, must.is_ != spec.closed)
    if isinstance(must, OutputHolds):
        feedback = bench.inputs.get(bench.outputs[must.output].feedback)
        return None if feedback is None else contact(feedback.channel, must.is_ == "off")
    if isinstance(must, QuantityHolds) and bench.quantities[must.quantity].raw is not None:
        bound = must.at_most if must.at_most is not None else must.at_least
        assert bound is not None
        spec, least = bench.quantities[must.quantity], must.at_most is None
        beyond = (-1 if least else 1) * (0.05 * bound.canonical().value + spec.accuracy.canonical().value)
        return reads(spec.channel, bound.canonical().value + beyond)
    return None


def with_nothing_lifted(bench: Bench, lock: Interlock) -> Breach:
    """What breaks it, with every input that would lift it in its other state."""
    breach = breach_of(bench, lock)
    assert breach is not None
    other = [contact(bench.inputs[u.input].channel, u.is_ != bench.inputs[u.input].closed) for u in lock.unless]

    def together(plant: Any) -> None:
        for one in (*other, breach):
            one(plant)

    return together


def told_by_another(bench: Bench, lock: Interlock, output: str) -> bool:
    """Whether the contact that would break it is the mirror of the very output that is on, too."""
    must = lock.must
    return isinstance(must, OutputHolds) and bench.outputs[must.output].feedback == bench.outputs[output].feedback


def kinds_for(bench: str, lock: Interlock, output: str) -> list[str]:
    """The kinds of step during which an output can be on; a serial line with one or two of them."""
    if output in ("ohms-bus", "volts-bus"):
        return ["ohms"] if output == "ohms-bus" else [METER]
    if bench != BENCHES[0]:
        return ["settle", METER]
    kinds = [kind for kind in WORK if kind != "ohms"]
    ends = isinstance(lock.must, OutputHolds) and lock.must.is_ == "on"  # it waits for the mains to go, and ends
    if ends or output not in ("mains", "heater-enable"):
        kinds.remove("time")
    return kinds


def every_case() -> list[Case]:
    """All of them; a serial line and the other parts of a stage with one kind of step each."""
    cases = []
    for bench in BENCHES:
        for name, lock in wiring(bench).interlocks.items():
            if breach_of(wiring(bench), lock) is None:
                continue
            for output in lock.for_:
                if not told_by_another(wiring(bench), lock, output):
                    cases += [Case(bench, name, output, kind) for kind in kinds_for(bench, lock, output)]
                if bench == BENCHES[0] and output == "mains":
                    cases += [Case(bench, name, output, "settle", part) for part in PARTS[1:]]
    return cases


def text_of(case: Case) -> str:
    """The procedure in which it happens."""
    start, work = STARTS[case.output], WORK[case.kind]
    if case.part == "steps":
        return BEFORE + start + work
    other = "    steps:\n      - step: nothing\n        settle: 100 ms\n"
    return BEFORE + start.replace("    steps:\n", f"    {case.part}:\n") + work + other


def off_after(case: Case, plan: Plan) -> tuple[float, float]:
    """Seconds from the breach until the output's coil fell, and the seconds that are allowed."""
    bench = plan.bench
    lock = bench.interlocks[case.lock]
    breach = with_nothing_lifted(bench, lock)
    began: list[Event] = []

    def at_work(event: Event) -> bool:
        if isinstance(event, StepStarted) and event.step == "work":
            began.append(event)
        on = isinstance(event, OutputConfirmed) and event.output == case.output and event.on
        return len(began) == 1 and (on or case.output not in ("ohms-bus", "volts-bus"))

    record, broken, off, opened = run_and_break(plan, breach, at_work, coil=(1, bench.outputs[case.output].channel))
    assert record.ended.verdict is Verdict.STOPPED, record.ended
    said = record.ended.reason or ""
    assert any(word in said for word in (case.lock, "went off by itself", *_same(bench, lock))), said
    assert opened.live.interlocks.latched is not None
    assert not any(opened.station.plant.coils(1)), "everything, not that output alone"
    age = lock.must.no_older_than.to("s") if isinstance(lock.must, QuantityHolds) else 0.0
    return off - broken, bench.interlocks_every.to("s") + age + LATE[case.bench]


def _same(bench: Bench, lock: Interlock) -> list[str]:
    """Other interlocks, and outputs, that look at the same thing: whichever is judged first is named."""
    must = lock.must
    if isinstance(must, OutputHolds):
        feedback = bench.outputs[must.output].feedback
        return [name for name, spec in bench.outputs.items() if spec.feedback == feedback]
    looked_at = {"input", "quantity"}
    same = must.model_dump(include=looked_at)
    return [name for name, other in bench.interlocks.items() if other.must.model_dump(include=looked_at) == same]


def sample(count: int) -> list[Case]:
    """Every interlock with one kind of step each, so that every kind comes up, and some more."""
    source, cases = random.Random(11), every_case()
    source.shuffle(cases)
    by_lock = {case.lock: case for case in cases if case.bench == BENCHES[0]}
    by_kind = {(case.kind, case.part): case for case in cases}
    by_bench = {case.bench: case for case in cases}
    first = dict.fromkeys([*by_lock.values(), *by_kind.values(), *by_bench.values()])
    return list(dict.fromkeys([*first, *cases]))[:count]


def try_it(case: Case, write: Callable[[str], Path]) -> tuple[float, float]:
    """Run one case; ``write`` puts a procedure's text into a file."""
    return off_after(case, bundled_plan(str(write(text_of(case))), bench=case.bench))


@pytest.mark.parametrize("case", sample(44), ids=lambda case: "-".join(case).replace(" ", "_"))
def test_off_within_the_period(case: Case, tmp_path: Path) -> None:
    def write(text: str) -> Path:
        path = tmp_path / "procedure.yaml"
        path.write_text(text, encoding="utf-8")
        return path

    took, allowed = try_it(case, write)
    assert took <= allowed


def test_every_interlock_that_can_break_is_in_the_sample() -> None:
    tried = {case.lock for case in sample(44)}
    breakable = {case.lock for case in every_case()}
    assert tried >= {lock for lock in breakable if lock in wiring(BENCHES[0]).interlocks}


def main() -> None:
    """The long form."""
    began, worst, bad = time.monotonic(), defaultdict[tuple[str, str], list[float]](list), 0
    cases = every_case()
    with tempfile.TemporaryDirectory() as folder:
        numbers = itertools.count()

        def write(text: str) -> Path:
            path = Path(folder) / f"p{next(numbers)}.yaml"
            path.write_text(text, encoding="utf-8")
            return path

        for case in cases:
            try:
                took, allowed = try_it(case, write)
                if took > allowed:
                    raise AssertionError(f"{took:.3f} s, allowed {allowed:g} s")
                worst[case.bench, case.lock].append(took)
            except Exception as fault:
                bad += 1
                print("NOT GOOD", case, type(fault).__name__, fault, flush=True)
    for (bench, lock), times in worst.items():
        print(f"{bench:14s} {lock:22s} {len(times):4d} tried, off after at most {max(times):.3f} s")
    print(f"{len(cases)} cases, {bad} not good, {time.monotonic() - began:.0f} s")
    sys.exit(bool(bad))


if __name__ == "__main__":
    main()
