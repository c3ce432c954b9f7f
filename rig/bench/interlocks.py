"""Interlocks: what must hold for an output to be on, read again as long as anything is.

The watch is a participant of the run's clock. A breach drops the outputs before anything else happens, latches, and is
told to the engine, which ends the run. A value that is missing or too old is a breach.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from contextlib import suppress
from dataclasses import dataclass

from rig.bench.clock import Clock
from rig.bench.conditions import Condition, Sight, condition_of
from rig.bench.outputs import READ_BACK, Outputs
from rig.bench.ports import Answer
from rig.bench.readers import QuantityReading, Readers
from rig.errors import InstrumentError, RigError, Stopped
from rig.plan.wiring import Bench

BOARDS_EVERY = 1.0  # s between two looks at a relay board's own coils; this also renews its communication watchdog
LOOKS = 2  # looks a period: what was read since the last one is not read again, and nothing is older than a period
NOT_OURS = "Do not touch the unit. Relay or contactor?"
OFF_EVERY = 2.0  # s between two looks when all is off: a contactor that closes by itself finds somebody's hands there
OFF_AGAIN = 10.0  # s until what is measured then is asked for again, where it gave no answer: others need the line, too


@dataclass(frozen=True)
class _Needs:
    """What must have been read for some conditions: input modules, and quantities with the age that they may have."""

    modules: tuple[str, ...]
    quantities: tuple[tuple[str, float], ...]

    @classmethod
    def of(cls, conditions: Iterable[Condition]) -> _Needs:
        modules: dict[str, None] = {}
        quantities: dict[str, float] = {}
        for condition in conditions:
            if condition.module is not None:
                modules[condition.module] = None
            if condition.quantity is not None:
                quantities[condition.quantity] = min(condition.age, quantities.get(condition.quantity, condition.age))
        return cls(tuple(modules), tuple(quantities.items()))


@dataclass(frozen=True)
class _Round:
    """A round of the watch while certain outputs are on: what it reads, and what it judges for each of them. What
    concerns several outputs alike is judged for the first."""

    needs: _Needs
    feedback: tuple[str, ...]  # modules
    judged: tuple[tuple[str, tuple[tuple[str, Condition], ...]], ...]


class Interlocks:
    """The interlocks of a bench. ``tripped`` is told of a breach when the outputs are off; ``alive`` is called in every
    round of the watch."""

    def __init__(self, wiring: Bench, readers: Readers, outputs: Outputs, clock: Clock) -> None:
        self._wiring, self._readers, self._outputs, self._clock = wiring, readers, outputs, clock
        self._look_every: float = wiring.interlocks_every.to("s") / LOOKS
        self._confirmed: set[str] = set()
        self._boards_at = self._off_looked_at = self._measure_from = self._looked_at = clock.now()
        self._live = 0.0  # s of this run in which anything dangerous was on
        self._feedback = {name: outputs.feedback_module(name) for name in wiring.outputs}
        self._rounds: dict[tuple[str, ...], _Round] = {}  # by the outputs that are on
        self._longest_live: float = wiring.longest_live.to("s")
        self._longest = {name: spec.longest_on.to("s") for name, spec in wiring.outputs.items()}
        sight = Sight(wiring, readers, outputs, clock, self._confirmed)
        made = {name: condition_of(lock, sight) for name, lock in wiring.interlocks.items()}
        self._conditions: dict[str, list[tuple[str, Condition]]] = {
            output: [(name, made[name]) for name, lock in wiring.interlocks.items() if output in lock.for_]
            for output in wiring.outputs
        }
        self.latched: str | None = None
        self.breach: RigError | None = None  # what latched it
        self.latches: Callable[[str], None] = lambda why: None  # told why, when the outputs are off
        self.tripped: Callable[[RigError], None] = lambda error: None
        self.alive: Callable[[], None] = lambda: None
        outputs.admit = self.admit

    def confirm(self, name: str, good: bool) -> None:
        """A step of this name has passed, or has not."""
        (self._confirmed.add if good else self._confirmed.discard)(name)

    # before an output goes on

    async def admit(self, output: str) -> None:
        """Whether an output may be turned on now, everything read afresh. Raises Stopped, InstrumentError."""
        if self.latched is not None:
            raise Stopped(f"latched: {self.latched}", "Find the reason and mend it before another run.", output)
        conditions = self._conditions[output]
        await self._read_for(_Needs.of(c for _, c in conditions), self._clock.now())
        for name, condition in conditions:
            broken = condition.broken(output, rising=False)
            if broken is not None:
                raise Stopped(f"interlock {name}: {broken}", self._because(name), output)

    def _because(self, name: str) -> str:
        return f"{self._wiring.interlocks[name].because}."

    # while anything is on

    async def watch(self) -> None:
        """Watch until cancelled."""
        while True:
            began = self._clock.now()
            self.alive()
            if self.latched is None:
                error = await self._look()
                if error is not None:
                    await self._trip(error)
            await self._clock.sleep_until(max(began + self._look_every, self._clock.now() + self._look_every / 10))

    async def _look(self) -> RigError | None:
        """What is wrong, if anything. That the look itself failed is wrong, too: nothing would be watched then."""
        try:
            on = self._outputs.on
            if on:
                round_ = self._round(on)
                await self._read_for(round_.needs, self._clock.now() - self._look_every)
                await self._read_feedback(round_.feedback, BOARDS_EVERY)
            if self._clock.now() - self._off_looked_at >= OFF_EVERY:
                return self._first_wrong() or await self._look_at_what_is_off() or self._first_wrong()
            return self._first_wrong()
        except InstrumentError as error:
            return error  # a value that cannot be had is a breach; the instrument is what failed, not the unit
        except Exception as fault:
            what = f"the watch over the interlocks failed ({type(fault).__name__}: {fault})"
            return Stopped(what, "Do not use this bench until that is found and mended.", "interlocks")

    async def _look_at_what_is_off(self) -> Stopped | None:
        """An instrument that does not answer while all is off is no breach: who needs it next will say so."""
        self._off_looked_at = self._clock.now()
        with suppress(InstrumentError):
            await self._read_feedback(self._modules_of(self._wiring.outputs), OFF_EVERY)
        if self._clock.now() < self._measure_from:
            return None
        try:
            welded = await self._outputs.measured_on()
        except InstrumentError:
            self._measure_from = self._clock.now() + OFF_AGAIN
            return None
        if welded is None:
            return None
        return Stopped("is on by what is measured, and its feedback says off", NOT_OURS, welded)

    def _first_wrong(self) -> Stopped | None:
        now = self._clock.now()
        live = self._outputs.live
        self._live += now - self._looked_at if live else 0.0
        self._looked_at = now
        if live and self._live > self._longest_live:
            longest = self._wiring.longest_live
            return Stopped(f"something was on for {longest} of this run, the longest allowed", "Start anew.", live[0])
        itself = self._outputs.came_on()
        if itself is not None:
            return Stopped("is on, and nobody turned it on", NOT_OURS, itself)
        for output, conditions in self._round(self._outputs.on).judged:
            if now - self._outputs.since(output) > self._longest[output]:
                longest = self._wiring.outputs[output].longest_on
                return Stopped(f"has been on for its longest time, {longest}", "The step takes too long.", output)
            if self._dropped(output):
                return Stopped(
                    "went off by itself, says its feedback", "Emergency stop, lid, fuse or contactor?", output
                )
            for name, condition in conditions:
                broken = condition.broken(output, rising=True)
                if broken is not None:
                    return Stopped(f"interlock {name}: {broken}", self._because(name), output)
        return None

    async def _trip(self, error: RigError) -> None:
        self.latched, self.breach = error.sentence(), error
        try:
            await self._outputs.all_off()  # confirmed once more when the run ends, and told there
            self.latches(self.latched)
        finally:
            self.tripped(error)

    # reading

    async def _read_for(self, needs: _Needs, not_before: float) -> None:
        """Read what some conditions need, unless it was read since ``not_before``."""
        for module in needs.modules:
            if _older(self._readers.last_inputs(module), not_before):
                await self._readers.inputs(module)
        for name, age in needs.quantities:
            # half of the stated age: the value must still be young enough when it is judged next time
            if _older(self._readers.last_quantity(name), max(not_before, self._clock.now() - age / 2)):
                await self._readers.quantity(name)

    async def _read_feedback(self, modules: Iterable[str], boards_every: float) -> None:
        for module in modules:
            if _older(self._readers.last_inputs(module), self._clock.now() - self._look_every):
                await self._readers.inputs(module)
        if self._clock.now() - self._boards_at >= boards_every:
            self._boards_at = self._clock.now()
            await self._outputs.look_at_boards()

    def _modules_of(self, outputs: Iterable[str]) -> tuple[str, ...]:
        return tuple(sorted({self._feedback[output] for output in outputs} - {""}))

    def _round(self, on: tuple[str, ...]) -> _Round:
        """The round of the watch while these are on, worked out once."""
        round_ = self._rounds.get(on)
        if round_ is None:
            seen: set[str] = set()
            judged = []
            for output in on:
                locks = self._conditions[output]
                judged.append((output, tuple((name, c) for name, c in locks if c.each or name not in seen)))
                seen.update(name for name, _ in locks)
            needs = _Needs.of(condition for _, locks in judged for _, condition in locks)
            round_ = self._rounds[on] = _Round(needs, self._modules_of(on), tuple(judged))
        return round_

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


def _older(answer: Answer[tuple[bool, ...]] | Answer[QuantityReading] | None, than: float) -> bool:
    return answer is None or answer.had < than
