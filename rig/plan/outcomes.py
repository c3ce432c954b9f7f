"""What a step can come to, and what later steps ask of it: the words that matter to the paths through a procedure."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import NamedTuple

from rig.plan.answers import ChoiceAnswer, NumberAnswer
from rig.plan.edges import InputEdge
from rig.plan.energy import WATER_INPUTS
from rig.plan.plan_limits import looked_up, rule_of
from rig.plan.procedure import Ask, Compute, Conditional, Judged, Record, Repeat, Settle, Switch, Time, Waveform
from rig.plan.safety import StepConfirmed
from rig.plan.values import LimitRef
from rig.plan.view import Placed, View, around, turned_on

GOOD = frozenset({"pass", "conditional pass"})
BAD = frozenset({"fail", "conditional fail", "no reading"})
NOT_RUN = "not run"
DONE = frozenset({*GOOD, *BAD, "not evaluated"})  # carried out; what was stopped ends the run
EITHER_WAY = ("pass", "fail", "no reading")
DECIDED = ("pass", "fail", "no reading", "not evaluated")
CONDITIONAL = ("conditional pass", "conditional fail")


class Came(NamedTuple):
    """What a step came to: the verdict's word, whether it has proved water over the heater, and whether ``after-bad``
    follows."""

    word: str
    wet: bool
    bad: bool


def outcomes(view: View, placed: Placed) -> list[Came]:
    """Everything that a step which is carried out can come to, good first. A switch does what it says, or the bench's
    guard ends the run."""
    step = placed.step
    if isinstance(step, (Settle, Switch)):
        return [Came("pass", False, False)]
    words = _words(view, placed)
    if not isinstance(step, Time):
        return [Came(word, False, word in BAD) for word in words]
    wet = ends_wet(view, placed)
    seen = [Came(word, wet, word in BAD) for word in words]
    return [*seen, *(Came(word, False, word not in GOOD) for word in _gave_up(view, step, words))]


def _words(view: View, placed: Placed) -> tuple[str, ...]:
    step = placed.step
    if isinstance(step, Ask) and not isinstance(step.answer, NumberAnswer):
        can_fail = step.answer == "yes or no" or (
            isinstance(step.answer, ChoiceAnswer) and not {*step.answer.one_of} <= {*(step.expect or ())}
        )
        return EITHER_WAY if can_fail else ("pass", "no reading")
    more = (NOT_RUN,) if isinstance(step, (Compute, Record, Waveform)) else ()
    if not isinstance(step, (Judged, Ask)) or step.limit is None:
        return ("not evaluated", "no reading", *more)
    rule = rule_of(*([view.profile] if isinstance(step.limit, LimitRef) and view.profile else []), view.procedure)
    conditional = CONDITIONAL if rule.verdicts == 4 and rule.guard > 0 else ()
    return (*DECIDED[:1], *conditional, *DECIDED[1:], *more)


def _gave_up(view: View, step: Time, words: tuple[str, ...]) -> list[str]:
    """A timing that gave up passes only where its limit asks for a long time alone."""
    limit = looked_up(step.limit, view.profile, view.bench)
    passes = limit is not None and limit.ends()[1] is None
    return [*(["pass"] if passes else []), "fail", "no reading", "not evaluated"]


def ends_wet(view: View, placed: Placed) -> bool:
    """Whether a step is a timing that ends with water over the heater."""
    until = placed.step.time.until if isinstance(placed.step, Time) else None
    if not isinstance(until, InputEdge) or until.input not in WATER_INPUTS:
        return False
    spec = view.bench.inputs.get(until.input)
    return spec is not None and until.is_ == spec.closed and spec.open != spec.closed


class Asked:
    """What is asked of each step's verdict, and until when: two verdicts that answer all of it alike are one."""

    def __init__(self, view: View) -> None:
        self.sets: dict[str, list[frozenset[str]]] = {}
        self.until: dict[str, float] = {}  # the order of the last step that asks; half above it, the end of a repeat
        for placed in view.steps:
            for name, words in _asked(view, placed):
                self._ask(view, name, words, end_of(view, placed))
        for number, stage in view.stages():
            first = next(p.order for p in view.steps if p.stage == number)
            for name, words in conditions(stage):
                self._ask(view, name, words, first)

    def _ask(self, view: View, name: str, words: frozenset[str], until: float) -> None:
        if name not in view.by_name:
            return
        sets = self.sets.setdefault(name, [])
        if words not in sets:
            sets.append(words)
        self.until[name] = max(until, self.until.get(name, until))

    def different(self, placed: Placed, came: Iterable[Came]) -> list[Came]:
        """One outcome of each kind that makes a difference later."""
        step = placed.step
        sets = self.sets.get(step.step, ())
        found: dict[object, Came] = {}
        for one in came:
            found.setdefault((*(one.word in s for s in sets), one.wet, one.bad), one)
        return list(found.values())


def end_of(view: View, placed: Placed) -> float:
    """When a step is over for good: its order, or the end of the repeat that it stands in, which is above the order of
    the last step in it."""
    outer = placed
    while outer.within is not None:
        outer = outer.within
    if not isinstance(outer.step, Repeat):
        return placed.order
    return max(p.order for p in view.steps if outer in (p, *around(p))) + 0.5


def conditions(part: Conditional) -> Iterator[tuple[str, frozenset[str]]]:
    """The steps that a part asks about, and the verdicts with which it is done."""
    yield from ((when.step, frozenset(when.was)) for when in part.conditions)
    yield from ((name, GOOD) for name in part.needs)
    yield from ((name, DONE) for name in part.after)


def _asked(view: View, placed: Placed) -> Iterator[tuple[str, frozenset[str]]]:
    yield from conditions(placed.step)
    outputs = {turn.output for turn in turned_on(placed.step, view.bench)}
    for lock in view.bench.interlocks.values():
        if isinstance(lock.must, StepConfirmed) and outputs & {*lock.for_}:
            yield lock.must.confirmed, GOOD
