"""Rules that are proved by following every path through a procedure: what can be on at each step, and by which way."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator

from rig.errors import Fault
from rig.plan.energy import OHMS, WATER_INPUTS, why_not_on
from rig.plan.messages import listed
from rig.plan.outcomes import GOOD, conditions
from rig.plan.paths import State, Walk, Way, follow
from rig.plan.procedure import Conditional, Measure, Switch
from rig.plan.safety import InputHolds, Interlock, OutputHolds, StepConfirmed
from rig.plan.view import Placed, TurnOn, View, turned_on


def nothing_live_at_ohms(walk: Walk) -> Iterator[Fault]:
    """Ohms, diode and continuity are measured only where, on no path, anything that energizes can be on."""
    view = walk.view
    for placed in view.steps:
        step = placed.step
        if not isinstance(step, Measure) or step.measure not in OHMS or view.drive_of(placed) != "dead":
            continue  # said by another rule
        for state, way, on in _moments(walk, placed):
            live = sorted(o for o in on if view.bench.outputs[o].energizes != "nothing")
            if live:
                message = f"{step.measure} where {listed(live)} can be on: ohms only when nothing is"
                yield _fault(view, placed, ("measure",), message, state, way)
                break


def exclusions_are_kept(walk: Walk) -> Iterator[Fault]:
    """No path leads to an output going on, or off, where an interlock would then be broken: two that exclude each other
    are never on together, and what needs another one on is turned off before it."""
    view = walk.view
    for placed in view.steps:
        said: set[object] = set()
        for state, way, turn, on in _turns(walk, placed):
            for message in _excluded(view, turn.output, on):
                if (turn.tail, message) not in said:
                    said.add((turn.tail, message))
                    yield _fault(view, placed, turn.tail, message, state, way)
        if isinstance(placed.step, Switch):
            yield from _turned_off(walk, placed, placed.step)


def interlocks_can_hold(walk: Walk) -> Iterator[Fault]:
    """What goes on only with another output on, or after a step has passed, has that on at least one path."""
    view = walk.view
    for placed in view.steps:
        never: dict[object, tuple[TurnOn, str, State, Way | None] | None] = {}
        for state, way, turn, on in _turns(walk, placed):
            for lock, message, holds in _wanted(view, placed, turn.output, state, on):
                key = (turn.tail, id(lock))
                if holds:
                    never[key] = None
                never.setdefault(key, (turn, message, state, way))
        for found in never.values():
            if found is not None:
                turn, message, state, way = found
                yield _fault(view, placed, turn.tail, message, state, way)


def _wanted(
    view: View, placed: Placed, output: str, state: State, on: Collection[str]
) -> Iterator[tuple[Interlock, str, bool]]:
    """The interlocks of an output that ask for something to have been done, and whether it was."""
    for lock, other, word in _output_locks(view):
        if output in lock.for_ and word == "on" and other != output:
            message = f"{output} goes on where {other} is never on, and an interlock wants it on ({lock.because})"
            yield lock, message, other in on
    for lock, name in _confirming(view):
        if output in lock.for_ and view.precedes(name, placed):  # a name that never came is said by another rule
            message = f"{output} goes on where '{name}' has never passed ({lock.because})"
            yield lock, message, state.word(name) in GOOD


def _confirming(view: View) -> list[tuple[Interlock, str]]:
    locks = view.bench.interlocks.values()
    return [(lock, lock.must.confirmed) for lock in locks if isinstance(lock.must, StepConfirmed)]


def _turned_off(walk: Walk, placed: Placed, step: Switch) -> Iterator[Fault]:
    """What is on only with another output is turned off before it."""
    for index, output in enumerate(step.switch.turn_off):
        for state, way in walk.at.get(placed.order, {}).items():
            on = state.on - {*step.switch.turn_off[: index + 1]}
            needs = next((n for n in sorted(on) if output in state.on and _needs_on(walk.view, n, output)), None)
            if needs is not None:
                message = f"{output} goes off while {needs} is on, which may be on only with it: turn {needs} off first"
                yield _fault(walk.view, placed, ("switch", "turn-off", index), message, state, way)
                break


def _needs_on(view: View, output: str, other: str) -> bool:
    return any(other == of and word == "on" for lock, of, word in _output_locks(view) if output in lock.for_)


def _output_locks(view: View) -> list[tuple[Interlock, str, str]]:
    """Interlocks on another output: by its name, or by the contact that is its feedback and no other's."""
    found = []
    for lock in view.bench.interlocks.values():
        must = lock.must
        if isinstance(must, OutputHolds):
            found.append((lock, must.output, str(must.is_)))
        elif isinstance(must, InputHolds) and not lock.unless and must.input in view.bench.inputs:
            of = [name for name, spec in view.bench.outputs.items() if spec.feedback == must.input]
            word = "on" if must.is_ == view.bench.inputs[must.input].closed else "off"
            found += [(lock, of[0], word)] if len(of) == 1 else []
    return found


def _excluded(view: View, output: str, on: Collection[str]) -> Iterator[str]:
    """What must be off and is not, when an output goes on while others are on."""
    for lock, other, word in _output_locks(view):
        if word == "off" and output in lock.for_ and other in on:
            yield f"{output} goes on where {other} is on, and an interlock wants it off ({lock.because})"
        elif word == "off" and output == other:
            held = sorted({*lock.for_} & {*on} - {output})
            if held and not _mutual(view, output, held[0]):
                yield f"{output} goes on where {held[0]} is on, and an interlock wants it off ({lock.because})"


def _mutual(view: View, output: str, other: str) -> bool:
    """Whether the output itself is held off by the other: that interlock says it already."""
    return any(output in lock.for_ and of == other and word == "off" for lock, of, word in _output_locks(view))


def water_before_heat(walk: Walk) -> Iterator[Fault]:
    """A heater is on only where, on every path, water was proved over it in this stage and since the last drain."""
    view = walk.view
    for placed in view.steps:
        said = set()
        for state, way, turn, _ in _turns(walk, placed):
            if view.bench.outputs[turn.output].energizes == "heater" and not state.wet and turn.tail not in said:
                said.add(turn.tail)
                message = (
                    f"{turn.output} heats, and not on every path has this stage proved water since the last drain: "
                    f"expected an earlier time step until {' or '.join(WATER_INPUTS)} is closed, with a limit at-most, "
                    f"which this step needs, or which has after-bad: leave out stage or end"
                )
                yield _fault(view, placed, turn.tail, message, state, way)


def confirmed_on_every_path(walk: Walk) -> Iterator[Fault]:
    """Mains, and whatever else waits for the electrical safety steps, is asked for only where they have passed: else
    the interlock stops the run there."""
    view = walk.view
    for placed in view.steps:
        said = set()
        for state, way, turn, _ in _turns(walk, placed):
            for lock, name in _confirming(view):
                asked = turn.output in lock.for_ and (turn.tail, name) not in said and view.precedes(name, placed)
                if asked and state.word(name) not in GOOD:
                    said.add((turn.tail, name))
                    message = f"{turn.output} is asked for where '{name}' has not passed: expected needs: [{name}]"
                    yield _fault(view, placed, turn.tail, message, state, way)


def making_safe_ends_off(walk: Walk) -> Iterator[Fault]:
    """What a stage turns on while it is made safe it turns off again: nothing that energizes is left on at any end."""
    view = walk.view
    for number, stage in view.stages():
        last = next((p for p in reversed(view.steps) if p.stage == number and p.part == "make-safe"), None)
        for state, way in walk.ends.get(number, {}).items():
            live = sorted(o for o in state.on if view.bench.outputs[o].energizes != "nothing")
            if live and last is not None:
                message = f"{listed(live)} can be left on at the end of making '{stage.stage}' safe: turn it off there"
                yield _fault(view, last, (), message, state, way)
                break


def everything_can_run(walk: Walk) -> Iterator[Fault]:
    """There is a path on which each stage and each step is done."""
    view = walk.view
    unreached = {p.step.step for p in view.steps if p.order not in walk.at}
    for number, stage in view.stages():
        if number not in walk.entered:
            why = _why_never(walk, stage, unreached)
            if why is not None:
                yield view.procedure_file.fault(("stages", number, "stage"), f"this stage can never run: {why}")
    for placed in view.steps:
        outer_met = placed.within is None or placed.within.order in walk.at
        if placed.order in walk.at or placed.stage not in walk.entered or not outer_met:
            continue
        why = _why_never(walk, placed.step, unreached)
        if why is not None:
            yield view.fault(placed, ("step",), f"this step can never run: {why}")


def _why_never(walk: Walk, part: Conditional, unreached: Collection[str]) -> str | None:
    """Why the conditions of a part never hold; None where that follows from another step that never runs."""
    for name, words in conditions(part):
        if name not in walk.view.by_name:
            continue
        found = walk.words.get(name)
        if found is None and name in unreached:
            return None
        if not found:
            return f"'{name}' repeats others and has no verdict of its own; name one of the steps inside"
        if not words & {*found, "not run"}:
            return (
                f"it asks that '{name}' came to {listed(sorted(words))}, and that can only be {listed(sorted(found))}"
            )
    return "no path on which its conditions hold together leads there"


def _moments(walk: Walk, placed: Placed) -> Iterator[tuple[State, Way | None, frozenset[str]]]:
    """The states in which a step reads, with what is on then."""
    mine = [t.output for t in _allowed(walk.view, placed)]
    for state, way in walk.at.get(placed.order, {}).items():
        yield state, way, state.on | {*mine}


def _turns(walk: Walk, placed: Placed) -> Iterator[tuple[State, Way | None, TurnOn, frozenset[str]]]:
    """Each output that a step turns on, with the states and what else is on at that moment."""
    turns = _allowed(walk.view, placed)
    off = placed.step.switch.turn_off if isinstance(placed.step, Switch) else ()
    for state, way in walk.at.get(placed.order, {}).items() if turns else ():
        on = state.on - {*off}
        for turn in turns:
            if turn.output not in on:
                yield state, way, turn, on
            on |= {turn.output}


def _allowed(view: View, placed: Placed) -> list[TurnOn]:
    """What a step turns on, without what its stage does not allow anyway."""
    drive = view.drive_of(placed)
    return [t for t in turned_on(placed.step, view.bench) if why_not_on(view.bench, t.output, drive) is None]


def _fault(
    view: View, placed: Placed, tail: tuple[str | int, ...], message: str, state: State, way: Way | None
) -> Fault:
    on = f"on then: {listed(sorted(state.on))}" if state.on else ""
    path = "; ".join(part for part in (f"the way there: {way.told()}" if way is not None else "", on) if part)
    return view.fault(placed, tail, f"{message} ({path})" if path else message)


Rule = Callable[[Walk], Iterator[Fault]]
RULES: tuple[Rule, ...] = (
    nothing_live_at_ohms,
    exclusions_are_kept,
    interlocks_can_hold,
    water_before_heat,
    making_safe_ends_off,
    everything_can_run,
)
WARNINGS: tuple[Rule, ...] = (confirmed_on_every_path,)


def prove_paths(view: View) -> list[Fault]:
    """Every fault that some path leads to. The names in the files must lead somewhere."""
    walk = follow(view)
    return [fault for rule in RULES for fault in rule(walk)]


def warn_of_paths(view: View) -> list[Fault]:
    """What some path leads to and is no fault."""
    walk = follow(view)
    return [fault for rule in WARNINGS for fault in rule(walk)]
