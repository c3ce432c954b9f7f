"""Guarded outputs: whatever the rig can energize.

A write is not an effect: an output counts as on or off when its feedback says so, with the time it said it. Every
switch goes through the guard; turning everything off asks nobody.
"""

from __future__ import annotations

import math
import time
from collections.abc import Awaitable, Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import partial

from rig.bench.clock import Clock
from rig.bench.ports import Answer, Relays
from rig.bench.readers import Readers
from rig.errors import InstrumentError, OutputError, Stopped
from rig.events import Event, Noted, OutputConfirmed, OutputIntended
from rig.plan.energy import why_not_on
from rig.plan.procedure import Drive
from rig.plan.wiring import Bench, OutputSpec

FEEDBACK_WITHIN = 0.2  # a contactor's mirror contact follows within 20 to 60 ms (common practice, no source)
FEEDBACK_EVERY = 0.02
READ_BACK = "read-back"
WORTH_TELLING = 1.0  # s of rest that a person would wonder about


@dataclass(frozen=True)
class OffReport:
    """What turning everything off achieved: outputs whose feedback did not say off, and why."""

    unconfirmed: tuple[str, ...]
    why: tuple[str, ...]

    @property
    def confirmed(self) -> bool:
        return not self.unconfirmed


@dataclass
class _On:
    """An output that was told to be on and is not confirmed off: since when, and when its feedback agreed."""

    since: float
    confirmed: float | None = None


async def _anyone(output: str) -> None:
    """The default of ``Outputs.admit``: a bench without interlocks."""


class Outputs:
    """The relay boards of a bench. ``emit`` returns when an event is safe on disk; ``since_start`` gives it its time.

    ``admit`` is asked before an output is turned on, and raises Stopped when an interlock does not hold."""

    def __init__(
        self,
        wiring: Bench,
        boards: Mapping[str, Relays],
        readers: Readers,
        clock: Clock,
        emit: Callable[[Event], None],
        since_start: Callable[[float], float],
    ) -> None:
        self.drive: Drive = "dead"
        self.admit: Callable[[str], Awaitable[None]] = _anyone
        self.guarded: Awaitable[None] | None = None  # done when the second process is armed
        self.guard_seconds = 0.0  # wall seconds that the run stood still for the second process to be armed
        self.energizings = 0  # how often anything that can be dangerous was turned on: a proof of deadness ends there
        self._wiring, self._boards, self._readers = wiring, boards, readers
        self._clock, self._emit, self._since_start = clock, emit, since_start
        self._maybe_on: dict[str, _On] = {}  # in the order in which they were told
        self.on: tuple[str, ...] = ()  # outputs that are on, or may be: told so and not confirmed off since
        self.live: tuple[str, ...] = ()  # those of ``on`` that energize something
        self._off_at: dict[str, float] = {}  # when each was last confirmed off
        self._rests_until: dict[str, float] = {}  # of outputs that must rest, once they were on
        self._drops = 0  # how often everything was turned off: what began before that turns nothing on after it
        self._coils: dict[str, Answer[tuple[bool, ...]]] = {}
        self._coil_ends: dict[str, list[tuple[str, int]]] = {}  # by board, then by module: outputs and their channels
        self._contact_ends: dict[str, list[tuple[str, int]]] = {}
        for name, spec in wiring.outputs.items():
            self._coil_ends.setdefault(spec.instrument, []).append((name, spec.channel))
            module, channel = self._contact(spec)
            if module:
                self._contact_ends.setdefault(module, []).append((name, channel))

    def _contact(self, spec: OutputSpec) -> tuple[str, int]:
        """The module and channel of an output's feedback; no module where its own coil is its feedback."""
        if spec.feedback == READ_BACK:
            return "", 0
        contact = self._wiring.inputs[spec.feedback]
        return contact.instrument, contact.channel

    def feedback_module(self, output: str) -> str:
        """The module that an output's feedback is read from; nothing where its own coil is its feedback."""
        return self._contact(self._wiring.outputs[output])[0]

    def _on_changed(self) -> None:
        """What is on has changed: ``on`` and ``live`` are asked for far more often than that."""
        self.on = tuple(self._maybe_on)
        self.live = tuple(name for name in self.on if self._energizes(name))

    def _energizes(self, output: str) -> bool:
        return self._wiring.outputs[output].energizes != "nothing"

    def since(self, output: str) -> float:
        """When an output that is on was told so, on the bench's clock."""
        return self._maybe_on[output].since

    def confirmed_on(self, output: str) -> bool:
        """Whether an output is on by its feedback, and was not told off since."""
        entry = self._maybe_on.get(output)
        return entry is not None and entry.confirmed is not None

    def confirmed_at(self, output: str) -> float:
        """When the feedback of an output that is on agreed; infinity when it has not."""
        confirmed = self._maybe_on[output].confirmed
        return math.inf if confirmed is None else confirmed

    def last_said(self, output: str) -> tuple[bool, float] | None:
        """What an output's feedback last said, whoever asked it, and when (on the bench's clock); None before the first
        answer."""
        spec = self._wiring.outputs[output]
        module, channel = self._contact(spec)
        answer = self._readers.last_inputs(module) if module else self._coils.get(spec.instrument)
        found = [] if answer is None else [(answer.had, answer.value[channel if module else spec.channel])]
        entry = self._maybe_on.get(output)
        if entry is not None and entry.confirmed is not None:
            found.append((entry.confirmed, True))
        if output in self._off_at:
            found.append((self._off_at[output], False))
        if not found:
            return None
        when, on = max(found)
        return on, when

    async def turn_on(self, output: str) -> Answer[bool]:
        """Turn one output on. The answer's times bracket the moment at which its feedback changed. Raises Stopped when
        the guard forbids it, OutputError when the feedback does not follow, InstrumentError."""
        drops = self._drops
        reason = why_not_on(self._wiring, output, self.drive)
        if reason is not None:
            raise Stopped(reason, "The procedure must put this into a stage that is driven so.", output)
        if self.guarded is not None and self._energizes(output):
            began = time.perf_counter()
            await self.guarded
            self.guard_seconds += time.perf_counter() - began
        await self._rest(output)
        await self.admit(output)
        self._emit(OutputIntended(self._since_start(self._clock.now()), output, True))
        if drops != self._drops:
            raise Stopped("everything was turned off while this was about to go on", "Start the run again.", output)
        # one that is on already stays on since then: its longest time does not begin anew
        self._maybe_on.setdefault(output, _On(self._clock.now()))
        self._on_changed()
        if self._energizes(output):
            self.energizings += 1
        answer = await self._switch(output, True)
        entry = self._maybe_on.get(output)
        if entry is None:
            raise Stopped("everything was turned off while this went on", "Start the run again.", output)
        entry.confirmed = answer.had
        return answer

    async def _rest(self, output: str) -> None:
        """Wait until an output that rests has been off as long as it was on."""
        now = self._clock.now()
        left = self._rests_until.get(output, now) - now
        if output in self._maybe_on or left <= 0.0:
            return
        if left >= WORTH_TELLING:
            self._emit(Noted(self._since_start(now), f"{output} rests {left:.0f} s, as long as it was on"))
        await self._clock.sleep_until(now + left)

    async def turn_off(self, output: str) -> Answer[bool]:
        """Turn one output off; times as in ``turn_on``. Raises OutputError, InstrumentError."""
        if output in self._maybe_on:
            self._maybe_on[output].confirmed = None
        answer = await self._switch(output, False)
        self._is_off(output, answer.had)
        return answer

    def _is_off(self, output: str, at: float) -> None:
        """An output is confirmed off; one that must rest begins to."""
        entry = self._maybe_on.pop(output, None)
        self._off_at[output] = at
        if entry is None:
            return
        self._on_changed()
        if self._wiring.outputs[output].rests is not None:
            self._rests_until[output] = at + (at - entry.since)

    def unproved(self) -> None:
        """Forget what was proved dead: people have had their hands in the unit."""
        self.energizings += 1

    async def _switch(self, output: str, on: bool) -> Answer[bool]:
        spec = self._wiring.outputs[output]
        written = await self._boards[spec.instrument].write(spec.channel, on)
        last_other = written.asked
        while True:
            said = await self.feedback(output)
            if said.value == on and (on or await self._measured_off(output)):
                self._emit(OutputConfirmed(self._since_start(said.had), output, on, spec.feedback))
                return Answer(on, last_other, said.had)
            last_other = said.asked
            if self._clock.now() - written.had >= FEEDBACK_WITHIN:
                wanted = "on" if on else "off"
                raise OutputError(
                    f"was told to turn {wanted}; {spec.feedback} does not say so after {FEEDBACK_WITHIN * 1000:.0f} ms",
                    "Do not touch the unit. Check the relay, its contactor and the feedback wire.",
                    output,
                )
            await self._clock.sleep(FEEDBACK_EVERY)

    async def _measured_off(self, output: str) -> bool:
        """Whether what is measured agrees that an output is off: a welded contact may say so and lie."""
        spec = self._wiring.outputs[output].off_when
        if spec is None:
            return True
        answer = await self._readers.quantity(spec.quantity)
        return bool(abs(answer.value.value) <= spec.at_most.canonical().value)

    async def measured_on(self) -> str | None:
        """An output that nobody turned on and that is on by what is measured: a welded contact whose feedback lies.
        None where there is none, and where a person would have to measure. Raises InstrumentError."""
        for output, spec in self._wiring.outputs.items():
            if spec.off_when is None or output in self._maybe_on:
                continue
            if self._wiring.by_hand(self._wiring.quantities[spec.off_when.quantity].instrument):
                continue
            if not await self._measured_off(output) and output not in self._maybe_on:
                return output
        return None

    async def feedback(self, output: str) -> Answer[bool]:
        """What the output's feedback says now. Raises InstrumentError."""
        spec = self._wiring.outputs[output]
        if spec.feedback == READ_BACK:
            coils = await self._boards[spec.instrument].read()
            return Answer(coils.value[spec.channel], coils.asked, coils.had)
        contact = self._wiring.inputs[spec.feedback]
        inputs = await self._readers.inputs(contact.instrument)
        return Answer(inputs.value[contact.channel], inputs.asked, inputs.had)

    async def look_at_boards(self) -> None:
        """Read the coils of every board: for outputs without another feedback, and because a board with a
        communication watchdog must hear from us. Raises InstrumentError."""
        for name, board in self._boards.items():
            self._coils[name] = await board.read()

    def coil_says(self, output: str) -> bool | None:
        """What the board last said of an output's coil, None when not asked since the output was confirmed on."""
        spec = self._wiring.outputs[output]
        answer = self._coils.get(spec.instrument)
        return None if answer is None or answer.asked <= self.confirmed_at(output) else answer.value[spec.channel]

    def came_on(self) -> str | None:
        """An output that was confirmed off and says since then that it is on, by its coil or its feedback, although
        nobody turned it on: of what was last read; None where there is none."""
        for board, ends in self._coil_ends.items():
            for output in self._newly_on(self._coils.get(board), ends):
                return output
        for module, ends in self._contact_ends.items():
            for output in self._newly_on(self._readers.last_inputs(module), ends):
                if not self._shared(output):
                    return output
        return None

    def _newly_on(self, said: Answer[tuple[bool, ...]] | None, ends: list[tuple[str, int]]) -> Iterator[str]:
        """Those of ``ends`` that nobody turned on, that were confirmed off, and that are on by a later answer."""
        if said is None or True not in said.value:
            return
        for output, channel in ends:
            if said.value[channel] and output not in self._maybe_on and said.asked > self._off_at.get(output, math.inf):
                yield output

    def _shared(self, output: str) -> bool:
        """Whether an output that was turned on has the same contact: then that speaks of the one that was."""
        feedback = self._wiring.outputs[output].feedback
        return any(self._wiring.outputs[other].feedback == feedback for other in self._maybe_on)

    async def all_off(self) -> OffReport:
        """Drop every coil of every board, then confirm. Never raises for an instrument: what could not be confirmed is
        in the report. Safe to call twice."""
        self._drops += 1
        boards = self._boards_in_order()
        failed = [name for name in boards if await self._dropping(name)]  # one that is silent holds up no other
        why = [f"{name}: {reason}" for name in failed if (reason := await self._dropping(name))]
        unconfirmed = await self._still_on(boards, why)
        deadline = self._clock.now() + FEEDBACK_WITHIN
        while unconfirmed and self._clock.now() < deadline:
            await self._clock.sleep(FEEDBACK_EVERY)
            unconfirmed = await self._still_on(boards, why)
        for output in [o for o in self._wiring.outputs if o not in unconfirmed]:
            self._is_off(output, self._clock.now())
        return OffReport(tuple(unconfirmed), tuple(dict.fromkeys(why)))

    def _boards_in_order(self) -> list[str]:
        """Relay boards, those of the outputs that must drop first at the front; people last, for they take their
        time."""
        first = [self._wiring.outputs[o].instrument for o in self._wiring.all_off_order]
        return sorted(dict.fromkeys([*first, *self._boards]), key=self._wiring.by_hand)

    async def _dropping(self, name: str) -> str:
        """Drop one board; why that failed, nothing when it did not."""
        channels = self._wiring.instruments[name].channels or 0
        try:
            await self._boards[name].write_all([False] * channels)
        except InstrumentError as error:
            return error.what
        except Exception as fault:  # whatever a driver throws, the other boards are still to be dropped
            return f"its driver failed ({type(fault).__name__}: {fault})"
        return ""

    async def _still_on(self, boards: Sequence[str], why: list[str]) -> list[str]:
        """Outputs whose feedback does not say off: one exchange a board and a module, not one an output."""
        used = {o.feedback for o in self._wiring.outputs.values() if o.feedback != READ_BACK}
        modules = sorted({self._wiring.inputs[f].instrument for f in used})
        states: dict[str, tuple[bool, ...]] = {}
        asks = [(n, self._boards[n].read) for n in boards] + [(n, partial(self._readers.inputs, n)) for n in modules]
        for name, ask in asks:
            try:
                states[name] = (await ask()).value
            except InstrumentError as error:
                why.append(f"{name}: {error.what}")
            except Exception as fault:
                why.append(f"{name}: its driver failed ({type(fault).__name__}: {fault})")
        on = [o for o in self._wiring.outputs if not self._says_off(o, states)]
        for output in self._wiring.outputs:
            try:
                if output not in on and not await self._measured_off(output):
                    on.append(output)
                    why.append(f"{output}: its feedback says off, and what is measured says on")
            except InstrumentError as error:
                on.append(output)
                why.append(f"{output}: {error.what}")
        return on

    def _says_off(self, output: str, states: Mapping[str, tuple[bool, ...]]) -> bool:
        spec = self._wiring.outputs[output]
        ends = [(spec.instrument, spec.channel)]
        if spec.feedback != READ_BACK:
            contact = self._wiring.inputs[spec.feedback]
            ends.append((contact.instrument, contact.channel))
        return all(name in states and not states[name][channel] for name, channel in ends)
