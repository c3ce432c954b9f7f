"""Interlocks: what must hold for an output to be on, read again as long as anything is.

The watch is a participant of the run's clock. A breach drops the outputs before anything else happens, latches, and is
told to the engine, which ends the run. A value that is missing or too old is a breach.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterator

from rig.bench.clock import Clock
from rig.bench.outputs import READ_BACK, Outputs
from rig.bench.ports import Answer
from rig.bench.readers import QuantityReading, Readers
from rig.errors import InstrumentError, RigError, Stopped
from rig.plan.safety import InputHolds, Interlock, OutputHolds, QuantityHolds, QuantityRises, StepConfirmed
from rig.plan.wiring import Bench

BOARDS_EVERY = 1.0  # s between two looks at a relay board's own coils; this also renews its communication watchdog
LATE = 1.5  # a value may be this many periods old: one that was being read when the period ended is not stale


class Interlocks:
    """The interlocks of a bench. ``tripped`` is told of a breach when the outputs are off; ``alive`` is called in every
    round of the watch."""

    def __init__(self, wiring: Bench, readers: Readers, outputs: Outputs, clock: Clock) -> None:
        self._wiring, self._readers, self._outputs, self._clock = wiring, readers, outputs, clock
        self._every: float = wiring.interlocks_every.to("s")
        self._confirmed: set[str] = set()
        self._history: dict[str, deque[tuple[float, float]]] = {}
        self._boards_at = clock.now()
        self.latched: str | None = None
        self.tripped: Callable[[RigError], None] = lambda error: None
        self.alive: Callable[[], None] = lambda: None
        readers.on_quantity = self._remember
        for lock in wiring.interlocks.values():
            if isinstance(lock.must, QuantityRises):
                self._history.setdefault(lock.must.quantity, deque())
        outputs.admit = self.admit

    def confirm(self, name: str, good: bool) -> None:
        """A step of this name has passed, or has not."""
        (self._confirmed.add if good else self._confirmed.discard)(name)

    # before an output goes on

    async def admit(self, output: str) -> None:
        """Whether an output may be turned on now, everything read afresh. Raises Stopped, InstrumentError."""
        if self.latched is not None:
            raise Stopped(f"latched: {self.latched}", "Find the reason; a person clears it by starting anew.", output)
        locks = [(n, i) for n, i in self._wiring.interlocks.items() if output in i.for_]
        await self._read_for([lock for _, lock in locks], self._clock.now())
        for name, lock in locks:
            broken = self._broken(lock, output, rising=False)
            if broken is not None:
                raise Stopped(f"interlock {name}: {broken}", f"{lock.because}.", output)

    # while anything is on

    async def watch(self) -> None:
        """Watch until cancelled."""
        while True:
            self.alive()
            if self._outputs.on and self.latched is None:
                error = await self._round()
                if error is not None:
                    await self._trip(error)
            await self._clock.sleep(self._every)

    async def _round(self) -> RigError | None:
        """One look at everything that concerns the outputs that are on; what is wrong, if anything."""
        try:
            await self._read_for(list(self._concerned()), self._clock.now() - self._every / 2)
            await self._read_feedback()
        except InstrumentError as error:
            return error  # a value that cannot be had is a breach; the instrument is what failed, not the unit
        return self._first_wrong()

    def _first_wrong(self) -> Stopped | None:
        now = self._clock.now()
        for output in self._outputs.on:
            longest = self._wiring.outputs[output].longest_on
            if now - self._outputs.since(output) > longest.to("s"):
                return Stopped(f"has been on for its longest time, {longest}", "The step takes too long.", output)
            if self._dropped(output):
                return Stopped(
                    "went off by itself, says its feedback", "Emergency stop, lid, fuse or contactor?", output
                )
            for name, lock in self._wiring.interlocks.items():
                broken = self._broken(lock, output) if output in lock.for_ else None
                if broken is not None:
                    return Stopped(f"interlock {name}: {broken}", f"{lock.because}.", output)
        return None

    async def _trip(self, error: RigError) -> None:
        self.latched = error.sentence()
        await self._outputs.all_off()  # confirmed once more when the run ends, and told there
        self.tripped(error)

    # reading

    def _concerned(self) -> Iterator[Interlock]:
        on = set(self._outputs.on)
        return (lock for lock in self._wiring.interlocks.values() if on.intersection(lock.for_))

    async def _read_for(self, locks: list[Interlock], not_before: float) -> None:
        """Read what these interlocks need, unless it was read since ``not_before``."""
        modules: dict[str, None] = {}
        quantities: dict[str, float] = {}
        for lock in locks:
            must = lock.must
            if isinstance(must, InputHolds):
                modules[self._wiring.inputs[must.input].instrument] = None
            elif isinstance(must, (QuantityHolds, QuantityRises)):
                # half of the stated age: the value must still be young enough when it is judged next time
                fresh = max(not_before, self._clock.now() - must.no_older_than.to("s") / 2)
                quantities[must.quantity] = min(fresh, quantities.get(must.quantity, fresh))
        for module in modules:
            if _older(self._readers.last_inputs(module), not_before):
                await self._readers.inputs(module)
        for name, fresh in quantities.items():
            if _older(self._readers.last_quantity(name), fresh):
                await self._readers.quantity(name)

    async def _read_feedback(self) -> None:
        feedbacks = {self._wiring.outputs[o].feedback for o in self._outputs.on} - {READ_BACK}
        for module in sorted({self._wiring.inputs[f].instrument for f in feedbacks}):
            if _older(self._readers.last_inputs(module), self._clock.now() - self._every / 2):
                await self._readers.inputs(module)
        if self._clock.now() - self._boards_at >= BOARDS_EVERY:
            self._boards_at = self._clock.now()
            await self._outputs.look_at_boards()

    def _remember(self, name: str, answer: Answer[QuantityReading]) -> None:
        history = self._history.get(name)
        if history is not None:
            history.append((answer.had, answer.value.value))
            while len(history) > 2000:
                history.popleft()

    # judging

    def _dropped(self, output: str) -> bool:
        """An output that was confirmed on and whose feedback now says off."""
        if not self._outputs.confirmed_on(output):
            return False
        feedback = self._wiring.outputs[output].feedback
        if feedback == READ_BACK:
            return self._outputs.coil_says(output) is False
        answer = self._readers.last_state(feedback)
        return (
            answer is not None
            and answer.asked > self._outputs.confirmed_at(output)
            and answer.value != self._wiring.inputs[feedback].closed
        )

    def _broken(self, lock: Interlock, output: str, rising: bool = True) -> str | None:
        must = lock.must
        if isinstance(must, InputHolds):
            answer = self._readers.last_state(must.input)
            if answer is None or self._clock.now() - answer.had > LATE * self._every:
                return f"{must.input} has not been read lately"
            return None if answer.value == must.is_ else f"{must.input} is {answer.value}, must be {must.is_}"
        if isinstance(must, OutputHolds):
            on = must.output in self._outputs.on
            return None if on == (must.is_ == "on") else f"{must.output} is {'on' if on else 'off'}"
        if isinstance(must, StepConfirmed):
            return None if must.confirmed in self._confirmed else f"{must.confirmed} has not passed in this run"
        if isinstance(must, QuantityHolds):
            return self._out_of_bounds(must)
        return self._not_rising(must, output) if rising else None

    def _out_of_bounds(self, must: QuantityHolds) -> str | None:
        answer = self._readers.last_quantity(must.quantity)
        if answer is None or self._clock.now() - answer.had > must.no_older_than.to("s"):
            return f"{must.quantity} is older than {must.no_older_than}"
        value = answer.value.value
        if must.at_most is not None and value > must.at_most.canonical().value:
            return f"{must.quantity} is {value:.4g}, more than {must.at_most}"
        if must.at_least is not None and value < must.at_least.canonical().value:
            return f"{must.quantity} is {value:.4g}, less than {must.at_least}"
        return None

    def _not_rising(self, must: QuantityRises, output: str) -> str | None:
        now, within = self._clock.now(), must.within.to("s")
        answer = self._readers.last_quantity(must.quantity)
        if answer is None or now - answer.had > must.no_older_than.to("s"):
            return f"{must.quantity} is older than {must.no_older_than}"
        if now - self._outputs.since(output) < within or answer.value.value >= must.until.canonical().value:
            return None
        earlier = [v for t, v in self._history[must.quantity] if t <= now - within and t >= self._outputs.since(output)]
        if earlier and answer.value.value - earlier[-1] < must.rises.canonical().value:
            return f"{must.quantity} rose by less than {must.rises} in {must.within}"
        return None


def _older(answer: Answer[tuple[bool, ...]] | Answer[QuantityReading] | None, than: float) -> bool:
    return answer is None or answer.had < than
