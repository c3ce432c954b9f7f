"""The proof that follows every path, against the engine itself doing every path: on generated small procedures, what is
on at each step, what excludes each other, where a heater would be dry, and which step is never done.

The long form: RIG_PATHS=300 pytest --timeout=0 tests/plan/test_every_path.py
"""

from __future__ import annotations

import asyncio
import os
import random
from collections.abc import Callable, Iterator
from pathlib import Path
from types import SimpleNamespace
from typing import Any, cast

import pytest
import yaml
from small_shop import BENCH, PROFILE

from rig.bench.outputs import OffReport
from rig.errors import Fault
from rig.limits import Verdict
from rig.plan.for_units import for_unit
from rig.plan.load import Loaded, load
from rig.plan.outcomes import ends_wet
from rig.plan.paths import follow
from rig.plan.plan import Plan
from rig.plan.procedure import Ask, Measure, Procedure, Repeat, Switch, Time
from rig.plan.proof_paths import (
    everything_can_run,
    exclusions_are_kept,
    interlocks_can_hold,
    nothing_live_at_ohms,
    water_before_heat,
)
from rig.plan.safety import OutputHolds
from rig.plan.view import TurnOn, View, make_view, turned_on
from rig.plan.wiring import Bench
from rig.run.engine import Engine
from rig.run.outcome import Outcome
from rig.run.readings import make_reading
from rig.uncertainty import Line

PROCEDURES = int(os.environ.get("RIG_PATHS", "20"))
FIRST = int(os.environ.get("RIG_SEED", "0"))  # other procedures with each
MOST_PATHS = 4000 if PROCEDURES > 100 else 250  # of one procedure; one that has more is left out, another is made

MORE_OUTPUTS = """\
outputs:
  air: {instrument: relays, channel: 6, energizes: air, feedback: read-back, longest-on: 1 h, for: air}
  other-feed: {instrument: relays, channel: 7, energizes: bench feed, feedback: read-back, longest-on: 1 h, for: feed}
"""
MORE_LOCKS = """\
interlocks:
  one-feed: {for: [feed], must: {output: other-feed, is: off}, because: invented}
  behind: {for: [heater], must: {output: mains, is: on}, because: invented}
  no-air: {for: [cut-off], must: {output: air, is: off}, because: invented}
"""
WAYS = {
    "dead": ["air", "cut-off"],
    "board drives": ["mains", "heater", "cut-off"],
    "bench feeds": ["feed", "other-feed", "cut-off"],
}
SEEN = (Verdict.PASS, Verdict.CONDITIONAL_PASS, Verdict.CONDITIONAL_FAIL, Verdict.FAIL, Verdict.NO_READING,
        Verdict.NOT_EVALUATED)  # fmt: skip
WORDS = [str(v) for v in (*SEEN, Verdict.NOT_RUN)]


class _Author:
    """Writes a procedure nobody would: any step after any other, on any condition."""

    def __init__(self, seed: int) -> None:
        self._source = random.Random(f"paths {seed}")
        self._names: list[str] = []  # of the steps so far
        self._words: dict[str, list[str]] = {}  # what is worth asking of them
        self._count = 0

    def procedure(self) -> dict[str, Any]:
        stages = [self._stage(n) for n in range(self._source.randint(1, 3))]
        return {"procedure": "tried", "title": "Tried", "revision": "1", "stages": stages}

    def _stage(self, number: int) -> dict[str, Any]:
        drive = self._source.choice(list(WAYS))
        stage = {"stage": f"stage-{number}", "title": "Invented", "drive": drive, **self._conditions()}
        stage["steps"] = [self._step(drive) for _ in range(self._source.randint(1, 4))]
        if self._source.random() < 0.3:
            stage["make-safe"] = [self._step("dead")]
        return stage

    def _conditions(self) -> dict[str, Any]:
        if not self._names or self._source.random() < 0.6:
            return {}
        name = self._source.choice(self._names)
        words = self._words.get(name, WORDS) if self._source.random() < 0.9 else WORDS
        when = {"step": name, "was": self._source.sample(words, min(len(words), self._source.randint(1, 2)))}
        return self._source.choice([{"needs": [name]}, {"after": [name]}, {"when": when}])

    def _step(self, drive: str, inside: bool = False) -> dict[str, Any]:
        self._count += 1
        name = f"step-{self._count}"
        step = {"step": name, **self._conditions(), **self._what(drive, inside)}
        if "repeat" not in step or self._source.random() < 0.1:
            self._names.append(name)
            self._words[name] = ["pass", "fail", "not run"] if "ask" in step else WORDS
        if self._source.random() < 0.25:
            step["after-bad"] = self._source.choice(["leave out stage", "end"])
        return step

    def _what(self, drive: str, inside: bool) -> dict[str, Any]:
        source = self._source
        kinds = ["ask", "drain", "on", "on", "on", "off", "ohms", "energize", "fill", "repeat", "judged"]
        kind = source.choice([*kinds, *["ohms"] * 3] if drive == "dead" else kinds)
        output = source.choice(WAYS[drive])
        if kind in ("ask", "drain"):
            thing = "chamber-drained" if kind == "drain" else "door-shut"
            return {"ask": "Is it?", "verb": "look", "thing": thing, "answer": "yes or no", "expect": "yes"}
        if kind == "on":
            return {"switch": {"turn-on": [output]}}
        if kind == "off":
            return {"switch": {"turn-off": [output]}}
        if kind == "ohms" and drive == "dead":
            return {"measure": "resistance four-wire", "at": "coil-ends", "range": "100 Ohm", "no-limit": "invented"}
        if kind == "energize":
            return {"measure": "temperature", "at": "room", "energize": [output], "no-limit": "invented"}
        if kind == "judged":
            limit = {"at-most": "30 Cel", "source": "invented"}
            return {"measure": "temperature", "at": "room", "limit": limit}
        if kind == "fill":
            time = {"from": {"input": "fill-drive", "is": "on"}, "until": {"input": "level-probe", "is": "wet"},
                    "start-within": "1 s", "give-up": "2 s"}  # fmt: skip
            return {"time": time, "every": "100 ms", "start": {"turn-on": [output]}, "no-limit": "invented"}
        if kind == "repeat" and not inside:
            steps = [self._step(drive, inside=True) for _ in range(source.randint(1, 2))]
            return {"repeat": {"times": 2, "steps": steps}}
        return {"settle": "1 s"}


class _Choices:
    """Every sequence of choices, one after another, like the figures of a counter."""

    def __init__(self) -> None:
        self._taken: list[list[int]] = []  # the choice, and out of how many
        self._at = 0

    def of(self, options: tuple[Any, ...]) -> Any:
        if self._at == len(self._taken):
            self._taken.append([0, len(options)])
        choice, _ = self._taken[self._at]
        self._at += 1
        return options[choice]

    def further(self) -> bool:
        """Go on to the next sequence; False when all have been."""
        self._at = 0
        while self._taken and self._taken[-1][0] + 1 == self._taken[-1][1]:
            self._taken.pop()
        if not self._taken:
            return False
        self._taken[-1][0] += 1
        return True


class _Tried:
    """What the engine was seen to do: on which steps what was on, and what was wrong at which place."""

    def __init__(self, view: View) -> None:
        self._view, self._bench = view, view.bench
        self.seen: dict[str, set[frozenset[str]]] = {}
        self.excluded: set[tuple[int, int]] = set()
        self.holds: dict[tuple[tuple[int, int], str], bool] = {}  # what an output needs on: ever, by place
        self.dry: set[tuple[int, int]] = set()
        self.live_ohms: set[tuple[int, int]] = set()
        self._choices = _Choices()
        self.on: list[str] = []
        self._passing: set[str] = set()  # on for one step only
        self._wet = False
        self.drive = "dead"
        self.tasks: list[asyncio.Task[Any]] = []
        self.hand = SimpleNamespace(takes=lambda step: False)

    def __setattr__(self, name: str, value: object) -> None:
        if name == "drive":
            self.__dict__["_wet"] = False  # a stage begins, or has ended
        self.__dict__[name] = value

    def everything(self, plan: Plan) -> bool:
        """Do the procedure in every way; False where there are too many."""
        return asyncio.run(self._every_way(plan))

    async def _every_way(self, plan: Plan) -> bool:
        for _ in range(MOST_PATHS):
            await asyncio.ensure_future(self._once(plan))
            if not self._choices.further():
                return True
        return False

    async def _once(self, plan: Plan) -> None:
        self.on = []
        watching = SimpleNamespace(tripped=None, breach=None, watch=_never, confirm=lambda name, good: None)
        clock = SimpleNamespace(spawn=lambda work, name: asyncio.ensure_future(work), sleep=_at_once)
        bench = SimpleNamespace(wiring=self._bench, outputs=self, interlocks=watching, clock=clock, time=lambda: 0.0,
                                oddities=list, meter=SimpleNamespace(), instruments={})  # fmt: skip
        engine = Engine(plan, cast(Any, bench), cast(Any, None), lambda event: None)
        engine._work = cast(Any, self)
        await engine.run(_at_once)

    # the bench's outputs

    async def all_off(self) -> OffReport:
        self.on = []
        return OffReport((), ())

    async def turn_off(self, output: str) -> None:
        self.on = [o for o in self.on if o != output]

    # the steps

    async def do(self, step: Any, beside: object) -> Outcome:
        placed = self._view.by_name[step.step]
        self.seen.setdefault(step.step, set()).add(frozenset(self.on))
        off = step.switch.turn_off if isinstance(step, Switch) else ()
        for index, output in enumerate(off):
            before = output in self.on
            await self.turn_off(output)
            if before and any(output == m.output and m.is_ == "on" and {*f} & {*self.on} for f, m in self._locks()):
                self.excluded.add(self._place(placed.loc, ("switch", "turn-off", index)))
        turns = turned_on(step, self._bench)
        for turn in turns:
            self._turn_on(placed.loc, turn)
        live = any(self._bench.outputs[o].energizes != "nothing" for o in self.on)
        if live and isinstance(step, Measure) and step.measure.startswith("resistance"):
            self.live_ohms.add(self._place(placed.loc, ("measure",)))
        for turn in turns:
            if not turn.stays and turn.output in self._passing:
                await self.turn_off(turn.output)
        self._passing.clear()
        return self._outcome(step)

    def _turn_on(self, loc: tuple[str | int, ...], turn: TurnOn) -> None:
        output, place = turn.output, self._place(loc, turn.tail)
        if output in self.on:
            return
        if not turn.stays:
            self._passing.add(output)
        for for_, must in self._locks():
            if output in for_ and must.is_ == "off" and must.output in self.on:
                self.excluded.add(place)
            if output in for_ and must.is_ == "on" and must.output != output:
                key = (place, must.output)
                self.holds[key] = self.holds.get(key, False) or must.output in self.on
            if output == must.output and must.is_ == "off" and {*for_} & {*self.on}:
                self.excluded.add(place)
        if self._bench.outputs[output].energizes == "heater" and not self._wet:
            self.dry.add(place)
        self.on.append(output)

    def _locks(self) -> Iterator[tuple[tuple[str, ...], OutputHolds]]:
        for lock in self._bench.interlocks.values():
            if isinstance(lock.must, OutputHolds):
                yield lock.for_, lock.must
            elif getattr(lock.must, "input", "") == "mains-aux":  # the mains' own contact
                yield lock.for_, OutputHolds.model_construct(output="mains", is_="on")

    def _place(self, loc: tuple[str | int, ...], tail: tuple[str | int, ...]) -> tuple[int, int]:
        return self._view.procedure_file.where((*loc, *tail))

    def _outcome(self, step: Any) -> Outcome:
        choose = self._choices.of
        if isinstance(step, Ask):
            if "drain" in step.thing:
                self._wet = False
            return Outcome(choose((Verdict.PASS, Verdict.FAIL, Verdict.NO_READING)))
        if isinstance(step, Time):
            how = choose(("filled", "gave up", "failed", "no reading"))
            self._wet = self._wet or (how == "filled" and ends_wet(self._view, self._view.by_name[step.step]))
            if how in ("failed", "no reading"):
                return Outcome(Verdict.FAIL if how == "failed" else Verdict.NO_READING)
            line = [Line("any", 0.1)]
            reading = make_reading(2.0, "s", line, bound="more than" if how == "gave up" else None)
            return Outcome(Verdict.NOT_EVALUATED, reading)
        if isinstance(step, Measure):
            return Outcome(choose(SEEN if step.limit is not None else (Verdict.NOT_EVALUATED, Verdict.NO_READING)))
        return Outcome(Verdict.PASS)


async def _never() -> None:
    await asyncio.Event().wait()


async def _at_once(*_: object) -> None:
    return None


def _view(folder: Path, seed: int) -> View:
    texts = {
        "procedure": yaml.safe_dump(_Author(seed).procedure(), sort_keys=False),
        "profile": PROFILE,
        "bench": BENCH.replace("outputs:\n", MORE_OUTPUTS).replace("interlocks:\n", MORE_LOCKS),
    }
    files: dict[str, Loaded] = {}
    for name, text in texts.items():
        path = folder / f"{name}-{seed}.yaml"
        path.write_text(text, encoding="utf-8")
        files[name] = load(path)
    return make_view(files["procedure"], files["profile"], files["bench"])


def _places(rule: Callable[[Any], Iterator[Fault]], walk: object) -> set[tuple[int, int]]:
    return {(fault.line, fault.column) for fault in rule(walk)}


def _both(view: View) -> tuple[dict[str, Any], dict[str, Any]] | None:
    """What was tried, and what was proved; None where there are too many ways to try."""
    assert isinstance(view.procedure, Procedure)
    assert isinstance(view.bench, Bench)
    tried = _Tried(view)
    if not tried.everything(Plan(for_unit(view.procedure, view.profile), view.profile, view.bench)):
        return None
    walk = follow(view)
    steps = [p for p in view.steps if not isinstance(p.step, Repeat)]
    on = {p.step.step: {state.on for state in walk.at[p.order]} for p in steps if p.order in walk.at}
    proved = {
        "on": on,
        "excluded": _places(exclusions_are_kept, walk),
        "never holds": _places(interlocks_can_hold, walk),
        "dry": _places(water_before_heat, walk),
        "live ohms": _places(nothing_live_at_ohms, walk),
        "can never run": bool(_places(everything_can_run, walk)),
    }
    return proved, {
        "on": tried.seen,
        "excluded": tried.excluded,
        "never holds": {place for (place, _), ever in tried.holds.items() if not ever},
        "dry": tried.dry,
        "live ohms": tried.live_ohms,
        "can never run": len(tried.seen) < len(steps),
    }


@pytest.mark.timeout(0 if PROCEDURES > 100 else 120)
def test_what_is_proved_is_what_happens(tmp_path: Path) -> None:
    compared, seed, met = 0, FIRST, dict.fromkeys(("excluded", "never holds", "dry", "live ohms", "can never run"), 0)
    while compared < PROCEDURES:
        both = _both(_view(tmp_path, seed))
        seed += 1
        if both is None:
            continue
        compared += 1
        proved, tried = both
        assert proved == tried, f"procedure {seed - 1}\n{(tmp_path / f'procedure-{seed - 1}.yaml').read_text()}"
        for what in met:
            met[what] += bool(tried[what])
    print(f"{compared} procedures of {seed - FIRST}; with a fault: {met}")
    assert all(met.values()), met  # else the comparison would prove little
