"""Every path through a procedure, as far as power and verdicts go: branches, failures, give-ups, repeats.

The engine's rules (what is done, left out, turned off at the end of a stage) are followed with every verdict that a
step can come to. Two paths that later steps cannot tell apart are one, so that all can be followed. A pause begins its
stage anew with everything off, and a stop turns everything off: neither leads to a state that is not here already.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import NamedTuple

from rig.plan.edges import StartByPerson
from rig.plan.energy import why_not_on
from rig.plan.outcomes import NOT_RUN, Asked, Came, conditions, end_of, outcomes
from rig.plan.procedure import Ask, Conditional, Record, Repeat, Switch, Time
from rig.plan.view import Placed, View, turned_on

# What takes the water out again; each is the beginning of a word of a prompt's 'thing'.
DRAINS = ("drain", "empt")
SHOWN = 8  # turns of a path that are told
MOST = 4000  # states at one place; beyond, what a step came to is forgotten, and both ways are followed from there on
UNKNOWN = "?"


class Way(NamedTuple):
    """The turns that led to a state, newest first."""

    before: Way | None
    turn: str

    def told(self) -> str:
        """The turns in order, for people."""
        turns: list[str] = []
        way: Way | None = self
        while way is not None:
            turns.append(way.turn)
            way = way.before
        kept = turns[:SHOWN][::-1]
        return ", ".join([*(["…"] if len(turns) > SHOWN else []), *kept])


@dataclass(frozen=True)
class State:
    """What is on, whether water is proved over the heater, and what the steps came to that are still asked about.

    ``left``: the rest of the stage is left out; ``ended``: so is the rest of the run; ``bad``: a step of the repeat at
    hand was bad."""

    on: frozenset[str] = frozenset()
    wet: bool = False
    came_to: frozenset[tuple[str, str]] = frozenset()
    left: bool = False
    ended: bool = False
    bad: bool = False

    def word(self, name: str) -> str | None:
        """The verdict of a step; None where it has none yet."""
        return next((word for step, word in self.came_to if step == name), None)


States = dict[State, Way | None]


@dataclass
class Walk:
    """What was met: the states in which each step begins (by its order), those in which each stage ends, the verdicts
    that each step came to."""

    view: View
    at: dict[int, States] = field(default_factory=dict)
    ends: dict[int, States] = field(default_factory=dict)
    entered: set[int] = field(default_factory=set)
    words: dict[str, set[str]] = field(default_factory=dict)


def follow(view: View) -> Walk:
    """Follow every path. Names that lead nowhere are left to other rules."""
    return _Follower(view).follow()


class _Follower:
    def __init__(self, view: View) -> None:
        self._view, self._walk = view, Walk(view)
        self._asked = Asked(view)
        self._expires: dict[float, set[str]] = {}
        for name, order in self._asked.until.items():
            self._expires.setdefault(order, set()).add(name)
        self._inside: dict[int, list[Placed]] = {}
        for placed in view.steps:
            if placed.within is not None:
                self._inside.setdefault(placed.within.order, []).append(placed)
        self._came: dict[int, list[Came]] = {}
        self._even_if_ended = False
        self._counts_bad = False  # the repeat at hand says what follows when one of its steps is bad

    def follow(self) -> Walk:
        states: States = {State(): None}
        for number, stage in self._view.stages():
            begun: States = {}
            after: States = {}
            for state, way in states.items():
                may = [False] if state.ended else self._may(stage, state)
                for done in may:
                    (begun if done else after).setdefault(state, way)
            parts = [[p for p in self._view.steps if p.stage == number and p.within is None and p.part == part]
                     for part in ("make-ready", "steps", "make-safe")]  # fmt: skip
            after = self._all_left_out([*parts[0], *parts[1], *parts[2]], after)
            if begun:
                self._walk.entered.add(number)
                worked = self._steps([*parts[0], *parts[1]], begun)
                self._even_if_ended = True
                off: States = {}
                for state, way in worked.items():
                    off.setdefault(_made_safe(state), Way(way, f"{stage.stage} turns all off") if state.on else way)
                safe = self._steps(parts[2], off)
                self._even_if_ended = False
                self._walk.ends[number] = safe
                for state, way in safe.items():
                    after.setdefault(_made_safe(state), way)
            states = after
        return self._walk

    def _may(self, part: Conditional, state: State, unsure: Collection[str] = ()) -> list[bool]:
        """Whether a part is done in a state: both where that hangs on an ``unsure`` step, or one that was forgotten."""
        either = False
        for name, words in conditions(part):
            word = UNKNOWN if name in unsure else state.word(name)
            if word == UNKNOWN:
                either = True
            elif name in self._view.by_name and word not in words:
                return [False]
        return [True, False] if either else [True]

    def _steps(self, steps: Sequence[Placed], states: States) -> States:
        for placed in steps:
            states = self._step(placed, states)
        return states

    def _step(self, placed: Placed, states: States) -> States:
        doing: States = {}
        not_done: States = {}
        for state, way in states.items():
            left = state.left or (state.ended and not self._even_if_ended)
            for done in [False] if left else self._may(placed.step, state):
                (doing if done else not_done).setdefault(state, way)
        after = self._all_left_out([placed], not_done)
        if doing:
            self._met(placed, doing)
            for state, way in self._done(placed, doing).items():
                after.setdefault(state, way)
        return after

    def _met(self, placed: Placed, states: States) -> None:
        met = self._walk.at.setdefault(placed.order, {})
        for state, way in states.items():
            met.setdefault(state, way)

    def _done(self, placed: Placed, states: States) -> States:
        step = placed.step
        if isinstance(step, Repeat):
            return self._repeated(placed, step, states)
        if isinstance(step, Time):
            return self._timed(placed, step, states)
        if isinstance(step, Switch):
            states = _each(states, lambda s: replace(s, on=s.on - {*step.switch.turn_off}))
            return self._came_to(placed, self._turning_on(placed, states))
        if isinstance(step, Ask) and _drains(step.thing):
            states = _each(states, lambda s: replace(s, wet=False))
        return self._came_to(placed, states)

    def _turning_on(self, placed: Placed, states: States) -> States:
        """With what a step turns on that stays on."""
        drive = self._view.drive_of(placed)
        turned = [t.output for t in turned_on(placed.step, self._view.bench) if t.stays]
        on = [o for o in turned if why_not_on(self._view.bench, o, drive) is None]
        if not on:
            return states
        turn = f"{placed.step.step} turns on {', '.join(on)}"
        return {replace(s, on=s.on | {*on}): Way(way, turn) for s, way in states.items()}

    def _repeated(self, placed: Placed, step: Repeat, states: States) -> States:
        outer, self._counts_bad = self._counts_bad, step.after_bad != "carry on"
        going = states
        over: States = {}
        for _ in range(step.repeat.times):
            worked = self._steps(self._inside.get(placed.order, ()), going)
            further: States = {}
            for state, way in worked.items():
                ends = state.left or (state.ended and not self._even_if_ended)
                (over if ends else further).setdefault(state, way)
            if further.keys() == going.keys():
                break  # every further round would come to the same
            going = further
        self._counts_bad = outer
        for state, way in going.items():
            over.setdefault(state, way)
        known = self._expires.get(end_of(self._view, placed), set())
        after: States = {}
        for state, way in over.items():
            kept = frozenset(pair for pair in state.came_to if pair[0] not in known)
            after.setdefault(self._followed(replace(state, came_to=kept), step.after_bad), way)
        return after

    @staticmethod
    def _followed(state: State, after_bad: str) -> State:
        if state.bad and after_bad != "carry on" and not state.left:
            return replace(state, left=True, ended=state.ended or after_bad == "end", bad=False)
        return replace(state, bad=False)

    def _timed(self, placed: Placed, step: Time, states: States) -> States:
        """A timing whose beginning was not seen fails before anything runs beside it."""
        begun = self._turning_on(placed, states)
        if isinstance(step.start, StartByPerson) and _drains(step.start.thing):
            begun = _each(begun, lambda s: replace(s, wet=False))
        beside = self._inside.get(placed.order, [])
        after = self._came_to(placed, begun, [Came("fail", False, True)])
        for state, way in self._came_to(placed, self._beside(beside, begun)).items():
            after.setdefault(state, way)
        return after

    def _beside(self, steps: Sequence[Placed], states: States) -> States:
        """Steps beside a timing: each may be done, or the timing ends before. Recordings run at the same time."""
        lines: dict[int, list[Placed]] = {}
        for placed in steps:
            lines.setdefault(placed.order if isinstance(placed.step, Record) else -1, []).append(placed)
        names = {p.step.step for p in steps}
        for key, line in lines.items():
            others = [p for other, found in lines.items() if other != key for p in found]
            on = frozenset(t.output for p in others for t in turned_on(p.step, self._view.bench))
            for placed in line:
                doing = {s: way for s, way in states.items() if True in self._may(placed.step, s, names)}
                self._met(placed, doing)
                if on:
                    self._met(placed, _each(doing, lambda s, on=on: replace(s, on=s.on | on)))  # type: ignore[misc]
                left = self._came_to(placed, states, [Came(NOT_RUN, False, False)])
                states = {**left, **self._came_to(placed, doing)}
        return states

    def _came_to(self, placed: Placed, states: States, came: list[Came] | None = None) -> States:
        """Every verdict that a step can come to, and what follows from it."""
        step = placed.step
        after: States = {}
        if came is None:
            came = self._came.get(placed.order)
            if came is None:
                found = outcomes(self._view, placed)
                self._walk.words.setdefault(step.step, set()).update(one.word for one in found)
                came = self._came[placed.order] = self._asked.different(placed, self._simpler(placed, found))
        for one in came:
            for state, way in states.items():
                told = Way(way, f"{step.step} comes to '{one.word}'") if len(came) > 1 and one.word != "pass" else way
                after.setdefault(self._with(placed, state, one), told)
        while len(after) > MOST:
            after = _forgetting(after)
        return after

    def _simpler(self, placed: Placed, came: Iterable[Came]) -> Iterator[Came]:
        """Without what does not matter to this step: whether it was bad."""
        matters = placed.step.after_bad != "carry on" or self._counts_bad
        return (one if matters else one._replace(bad=False) for one in came)

    def _with(self, placed: Placed, state: State, one: Came) -> State:
        step = placed.step
        known = self._kept(placed, state.came_to, {step.step: one.word})
        state = replace(state, came_to=known, wet=state.wet or one.wet, bad=state.bad or (one.bad and self._counts_bad))
        if one.bad and step.after_bad != "carry on" and not (placed.within and isinstance(placed.within.step, Time)):
            state = replace(state, left=True, ended=state.ended or step.after_bad == "end")
        return state

    def _kept(
        self, placed: Placed, came_to: frozenset[tuple[str, str]], new: Mapping[str, str]
    ) -> frozenset[tuple[str, str]]:
        """What is known of earlier steps, as far as anything later asks."""
        over = self._expires.get(placed.order, ())
        kept = [(name, word) for name, word in came_to if name not in new and name not in over]
        kept += [(n, w) for n, w in new.items() if self._asked.until.get(n, -1) > placed.order]
        return frozenset(kept)

    def _all_left_out(self, steps: Sequence[Placed], states: States) -> States:
        for placed in steps:
            named = [placed, *self._deep(placed)]
            new = {p.step.step: NOT_RUN for p in named if p.step.step in self._asked.until}
            after: States = {}
            for state, way in states.items():
                told = way
                if not state.left and not state.ended and (new or self._puts_off(placed)):
                    told = Way(way, f"{placed.step.step} is left out")
                known = self._kept(named[-1], self._kept(placed, state.came_to, {}), new)
                after.setdefault(replace(state, came_to=known), told)
            states = after
        return states

    def _deep(self, placed: Placed) -> Iterator[Placed]:
        for one in self._inside.get(placed.order, ()):
            yield one
            yield from self._deep(one)

    @staticmethod
    def _puts_off(placed: Placed) -> bool:
        return isinstance(placed.step, Switch) and bool(placed.step.switch.turn_off)


def _each(states: States, change: Callable[[State], State]) -> States:
    after: States = {}
    for state, way in states.items():
        after.setdefault(change(state), way)
    return after


def _made_safe(state: State) -> State:
    """Everything is off, and nothing is proved of the water."""
    return replace(state, on=frozenset(), wet=False, left=False, bad=False)


def _forgetting(states: States) -> States:
    """Without what the step came to that is known in most of the states."""
    known = Counter(name for state in states for name, word in state.came_to if word != UNKNOWN)
    most = known.most_common(1)[0][0]
    return _each(
        states, lambda s: replace(s, came_to=frozenset((n, UNKNOWN if n == most else w) for n, w in s.came_to))
    )


def _drains(thing: str) -> bool:
    return any(word.startswith(DRAINS) for word in thing.split("-"))
