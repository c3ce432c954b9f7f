"""The conditions of interlocks, ready to be judged again and again: limits worked out once, in canonical units.

A condition tells what it must have read, and why it does not hold. A value that is missing or too old does not.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from typing import Any, Protocol

from rig.bench.clock import Clock
from rig.bench.outputs import Outputs
from rig.bench.ports import Answer
from rig.bench.readers import QuantityReading, Readers
from rig.plan.safety import InputHolds, Interlock, OutputHolds, QuantityHolds, QuantityRises, StepConfirmed
from rig.plan.wiring import Bench
from rig.quantities import Quantity, convert

LATE = 1.5  # a value may be this many periods old: one that was being read when the period ended is not stale


@dataclass(frozen=True)
class Sight:
    """What conditions look at: the last readings, the outputs, the time, and the steps that have passed."""

    wiring: Bench
    readers: Readers
    outputs: Outputs
    clock: Clock
    confirmed: Collection[str]


class Condition(Protocol):
    """``module`` or ``quantity`` must have been read, the quantity within ``age`` seconds. ``each``: it asks since when
    an output is on, and so does not hold or fail for all outputs alike."""

    module: str | None
    quantity: str | None
    age: float
    each: bool

    def broken(self, output: str, rising: bool) -> str | None:
        """Why it does not hold for an output; ``rising`` asks, too, for what shows only while the output is on."""


def condition_of(lock: Interlock, sight: Sight) -> Condition:
    """The condition of an interlock."""
    condition = _condition(lock, sight)
    return _Unless(condition, [_InputIs(state, sight) for state in lock.unless]) if lock.unless else condition


def _condition(lock: Interlock, sight: Sight) -> Condition:
    must = lock.must
    if isinstance(must, InputHolds):
        return _InputIs(must, sight)
    if isinstance(must, OutputHolds):
        return _OutputIs(must, sight)
    if isinstance(must, StepConfirmed):
        return _StepPassed(must, sight)
    return _Within(must, sight) if isinstance(must, QuantityHolds) else _Rises(must, sight)


class _Simple:
    """Needs no quantity."""

    module: str | None = None
    quantity: str | None = None
    age = 0.0
    each = False


class _InputIs(_Simple):
    def __init__(self, must: InputHolds, sight: Sight) -> None:
        self._must, self._readers, self._clock = must, sight.readers, sight.clock
        self._oldest = LATE * sight.wiring.interlocks_every.to("s")
        self._spec = sight.wiring.inputs[must.input]
        self._closed = must.is_ == self._spec.closed  # whether its contact must be
        self.module = self._spec.instrument

    def broken(self, output: str, rising: bool) -> str | None:
        must = self._must
        answer = self._readers.last_inputs(self._spec.instrument)
        if answer is None or self._clock.now() - answer.had > self._oldest:
            return stale(must.input, answer, self._clock, self._oldest)
        if answer.value[self._spec.channel] == self._closed:
            return None
        return f"{must.input} is {self._spec.open if self._closed else self._spec.closed}, must be {must.is_}"


class _Unless:
    """A condition, and the inputs any of whose states lifts it while the output is on; one that cannot be read lifts
    nothing."""

    def __init__(self, condition: Condition, lifts: Sequence[_InputIs]) -> None:
        self._condition, self._lifts = condition, lifts
        self.module: str | None = lifts[0].module
        self.quantity = condition.quantity
        self.age, self.each = condition.age, condition.each

    def broken(self, output: str, rising: bool) -> str | None:
        if rising and any(lift.broken(output, rising) is None for lift in self._lifts):
            return None
        return self._condition.broken(output, rising)


class _OutputIs(_Simple):
    def __init__(self, must: OutputHolds, sight: Sight) -> None:
        self._must, self._outputs = must, sight.outputs

    def broken(self, output: str, rising: bool) -> str | None:
        on = self._must.output in self._outputs.on
        if on == (self._must.is_ == "on"):
            return None
        return f"{self._must.output} is {'on' if on else 'off'}, must be {self._must.is_}"


class _StepPassed(_Simple):
    def __init__(self, must: StepConfirmed, sight: Sight) -> None:
        self._step, self._confirmed = must.confirmed, sight.confirmed

    def broken(self, output: str, rising: bool) -> str | None:
        return None if self._step in self._confirmed else f"{self._step} has not passed in this run"


class _Within(_Simple):
    def __init__(self, must: QuantityHolds, sight: Sight) -> None:
        self._must, self._readers, self._clock = must, sight.readers, sight.clock
        self.quantity = must.quantity
        self.age = must.no_older_than.to("s")
        self._most = None if must.at_most is None else must.at_most.canonical().value
        self._least = None if must.at_least is None else must.at_least.canonical().value

    def broken(self, output: str, rising: bool) -> str | None:
        must = self._must
        answer = self._readers.last_quantity(must.quantity)
        if answer is None or self._clock.now() - answer.had > self.age:
            return stale(must.quantity, answer, self._clock, self.age)
        value = answer.value.value
        if must.at_most is not None and self._most is not None and value > self._most:
            return f"{must.quantity} reads {self._in(must.at_most, value)}, must be at most {must.at_most}"
        if must.at_least is not None and self._least is not None and value < self._least:
            return f"{must.quantity} reads {self._in(must.at_least, value)}, must be at least {must.at_least}"
        return None

    def _in(self, bound: Quantity, value: float) -> str:
        """A value in the unit of a bound, as a person reads the bench file."""
        return f"{convert(value, bound.canonical().unit, bound.unit):.4g} {bound.unit}"


class _Rises:
    """Keeps what was read of its quantity, as far back as it must look."""

    module: str | None = None
    each = True

    def __init__(self, must: QuantityRises, sight: Sight) -> None:
        self._must, self._readers, self._outputs, self._clock = must, sight.readers, sight.outputs, sight.clock
        self.quantity: str | None = must.quantity
        self.age, self._within = must.no_older_than.to("s"), must.within.to("s")
        self._rises, self._until = must.rises.canonical().value, must.until.canonical().value
        self._history: deque[tuple[float, float]] = deque()
        sight.readers.watchers.append(self._remember)

    def _remember(self, name: str, answer: Answer[QuantityReading]) -> None:
        if name == self.quantity:
            self._forget(answer.had - self._within)
            self._history.append((answer.had, answer.value.value))

    def _forget(self, before: float) -> None:
        """All but the last value that was had by then."""
        history = self._history
        while len(history) > 1 and history[1][0] <= before:
            history.popleft()

    def broken(self, output: str, rising: bool) -> str | None:
        must, now = self._must, self._clock.now()
        answer = self._readers.last_quantity(must.quantity)
        if not rising:
            return None
        if answer is None or now - answer.had > self.age:
            return stale(must.quantity, answer, self._clock, self.age)
        since = self._outputs.since(output)
        if now - since < self._within or answer.value.value >= self._until:
            return None
        self._forget(now - self._within)
        then, value = self._history[0]
        rose = answer.value.value - value
        if since <= then <= now - self._within and rose < self._rises:
            unit = must.rises.canonical().unit
            return f"{must.quantity} rose by {rose:.3g} {unit} in {must.within}, must rise by {must.rises} at least"
        return None


def stale(what: str, answer: Answer[Any] | None, clock: Clock, allowed: float) -> str:
    """What to say of a value that is missing or too old, ``allowed`` seconds being the oldest that counts."""
    if answer is None:
        return f"{what} has not been read, and may be {allowed:g} s old at most"
    return f"{what} was last read {clock.now() - answer.had:.2f} s ago, and may be {allowed:g} s old at most"
