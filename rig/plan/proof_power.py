"""Rules about energy: what may be on in which stage, as found before anything is changed, and an end to everything
that is turned on."""

from __future__ import annotations

from collections.abc import Iterator

from rig.errors import Fault
from rig.plan.energy import OHMS, why_not_on
from rig.plan.procedure import Ask, Measure, Record, Repeat, Settle, Time, Waveform
from rig.plan.values import ProfileRef
from rig.plan.view import Placed, View, turned_on
from rig.quantities import Quantity

# What cures a complaint silently; each is a word of a prompt's 'thing', or the beginning of one.
CHANGES = ("clean", "level", "cool")
# A thing that ends so is asked about, as it was before it came.
AS_IT_CAME = ("at-owner", "as-found")


def ohms_only_dead(view: View) -> Iterator[Fault]:
    """Resistance, diode and continuity are measured in dead stages alone: the meter feeds what it measures."""
    for placed in view.steps:
        drive = view.drive_of(placed)
        if isinstance(placed.step, Measure) and placed.step.measure in OHMS and drive != "dead":
            message = f"{placed.step.measure} is measured in stages that are dead, and this one is '{drive}'"
            yield view.fault(placed, ("measure",), message)


def drives_are_kept(view: View) -> Iterator[Fault]:
    """A dead stage energizes nothing; where the board drives, the bench does not feed, and the other way round."""
    for placed in view.steps:
        drive = view.drive_of(placed)
        for on in turned_on(placed.step, view.bench):
            reason = why_not_on(view.bench, on.output, drive)
            if reason is not None:
                yield view.fault(placed, on.tail, reason)


def as_found_comes_first(view: View) -> Iterator[Fault]:
    """Nothing is filled up, cleaned, levelled or cooled before the complaint is on record."""
    first = view.by_name.get(view.procedure.as_found or "")
    if first is None:
        return
    for placed in view.steps:
        step = placed.step
        if isinstance(step, Time) and step.start is not None and placed.order <= first.order:
            verb, thing = getattr(step.start, "verb", ""), getattr(step.start, "thing", "")
            tail: tuple[str, ...] = ("start",)
        elif isinstance(step, Ask) and placed.order < first.order:
            verb, thing, tail = step.verb, step.thing, ()
        else:
            continue
        name = first.step.step
        if verb == "pour":
            yield view.fault(placed, (*tail, "verb"), f"nothing is poured before '{name}' is on record as found")
        elif _changes(thing):
            message = (
                f"'{thing}' would change the unit before '{name}' is on record as found; a question about how it "
                f"came ends its thing in {' or '.join('-' + end for end in AS_IT_CAME)}"
            )
            yield view.fault(placed, (*tail, "thing"), message)


def _changes(thing: str) -> bool:
    if thing.endswith(AS_IT_CAME):
        return False
    return any(word.startswith(CHANGES) for word in thing.split("-"))


def outputs_are_bounded(view: View) -> Iterator[Fault]:
    """No output can stay on longer than its longest-on, on any path: every wait of the stage takes as long as it may,
    and a step that turns off and may be left out is left out."""
    for number, _ in view.stages():
        path = _Longest(view)
        for placed in view.steps:
            if placed.stage == number and placed.within is None:
                yield from path.walk(placed)


class _Longest:
    """The longest that each output has been on (s) along the steps of a stage."""

    def __init__(self, view: View) -> None:
        self._view = view
        self._on: dict[str, float] = {}
        self._under: dict[str, object] = {}  # on what the step depends that turned it on
        self._uncertain: set[str] = set()  # turned off by a step that may be left out
        self._said: set[str] = set()

    def walk(self, placed: Placed) -> Iterator[Fault]:
        """Let the longest time pass that a step can take."""
        step = placed.step
        if isinstance(step, Repeat):
            inner = [p for p in self._view.steps if p.within is placed]
            for _ in range(step.repeat.times):
                for one in inner:
                    yield from self.walk(one)
            return
        for output in getattr(getattr(step, "switch", None), "turn_off", ()):
            if self._is_done_when_on(placed, output):
                self._on.pop(output, None)
            elif output in self._on:
                self._uncertain.add(output)
        passing: set[str] = set()
        for turn in turned_on(step, self._view.bench):
            if turn.output not in self._on:
                self._on[turn.output] = 0.0
                self._under[turn.output] = _depends(placed)
                if not turn.stays:
                    passing.add(turn.output)
        yield from self._pass(placed, _longest(self._view, step))
        for output in passing:
            del self._on[output]

    def _pass(self, placed: Placed, seconds: float) -> Iterator[Fault]:
        for output in self._on:
            self._on[output] += seconds
            longest = self._view.bench.outputs[output].longest_on
            if self._on[output] > longest.to("s") and output not in self._said:
                self._said.add(output)
                message = (
                    f"{output} could be on for {self._on[output] / 60:.3g} min by the end of this step, "
                    f"and its longest-on is {longest}"
                )
                if output in self._uncertain:
                    message += "; the step that turns it off may be left out"
                yield self._view.fault(placed, (), message)

    def _is_done_when_on(self, placed: Placed, output: str) -> bool:
        """Whether a step that turns off is done on every path on which the output was turned on: it depends on nothing,
        or on the same as the step that turned it on."""
        depends = _depends(placed)
        return depends == _NOTHING or depends == self._under.get(output)


_NOTHING = ((None, (), ()), None)


def _depends(placed: Placed) -> object:
    """What decides whether a step is done."""
    step, outer = placed.step, placed.within
    return (step.when, tuple(step.needs), tuple(step.after)), None if outer is None else _within(outer)


def _within(outer: Placed) -> object:
    """What an outer step depends on; one that is always done makes no difference."""
    return None if _depends(outer) == _NOTHING else _depends(outer)


def _longest(view: View, step: object) -> float:
    """The longest that a step waits, s. Questions are left out: nobody can bound a person, the bench's guard does."""
    if isinstance(step, Settle):
        return step.settle.to("s")
    if isinstance(step, Measure):
        return 0.0 if step.settle is None else step.settle.to("s")
    if isinstance(step, (Record, Waveform)):
        return 0.0 if step.for_ is None else _seconds(view, step.for_)
    if isinstance(step, Time):
        own = step.time.start_within.to("s") + _seconds(view, step.time.give_up)
        own += 0.0 if step.then_watch is None else step.then_watch.to("s")
        return max(own, sum(_longest(view, s) for s in step.meanwhile))
    return 0.0


def _seconds(view: View, duration: Quantity | ProfileRef) -> float:
    if isinstance(duration, Quantity):
        return duration.to("s")
    try:
        found = view.profile.fact(duration.path) if view.profile is not None else None
        return found.to("s") if isinstance(found, Quantity) else 0.0
    except (KeyError, ValueError):
        return 0.0  # a missing or misfitting fact is said by another rule


RULES = (ohms_only_dead, drives_are_kept, as_found_comes_first, outputs_are_bounded)
