"""Readings by hand: a person takes one, types it, and says with what.

Any reading of any step can be taken so (``rig run … --by-hand STEP``). What the step switches is switched as ever, and
ohms are asked for only when the circuit is proved dead; only the instrument is another one, with its own uncertainty.
"""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable, Collection, Sequence
from dataclasses import replace

from rig.bench.bench import LiveBench
from rig.bench.ports import ByHand as ByHandInstrument
from rig.events import Prompted, Reading
from rig.limits import Limit, Verdict
from rig.plan.edges import StartByPerson
from rig.plan.hand_instruments import HAND
from rig.plan.plan import Plan
from rig.plan.procedure import Ask, Measure, Record, Time, Waveform
from rig.quantities import canonical, convert
from rig.run.edges import Bracket
from rig.run.hand_lines import change, lines_of
from rig.run.hand_prompts import (
    ByHandStep,
    edge_words,
    only_by_hand,
    rate_prompts,
    rates,
    reading_prompt,
    start_prompt,
    stop_watch_prompts,
    switch_prompt,
    volts_prompt,
)
from rig.run.outcome import Outcome, judged
from rig.run.people import People, Said
from rig.run.readings import Lines, make_reading
from rig.run.timing import Beside, sensor_line
from rig.run.typed import Typed
from rig.uncertainty import line

DRIPS = 10.0  # s from switching off until what runs has run out (common practice, no source)
LOOKS_ON = 60.0  # s that a simulated person goes on looking beyond what the step itself waits

NEVER_BEGAN = "never began"

Meanwhile = Callable[[Beside], list[asyncio.Task[object]]]


class ByHand:
    """Takes readings by hand on a bench; ``names`` are the steps that are to be taken so."""

    def __init__(self, plan: Plan, bench: LiveBench, people: People, names: Collection[str]) -> None:
        self._plan, self._bench, self._people = plan, bench, people
        self._names = frozenset(names)
        bench.meter.by_hand = self._volts
        for instrument in bench.instruments.values():
            if isinstance(instrument, ByHandInstrument):
                instrument.asks = self._switch

    def takes(self, step: ByHandStep) -> bool:
        """Whether a person takes the reading of this step: told so, or there is no other instrument."""
        return step.step in self._names or only_by_hand(self._plan.bench, step)

    def cannot(self, step: ByHandStep) -> str | None:
        """Why a person cannot take this reading, unless they were told to and so have an instrument that can."""
        recording = isinstance(step, Waveform) or (isinstance(step, Record) and not rates(step))
        return "needs a recording instrument" if recording and step.step not in self._names else None

    async def measure(self, step: Measure | Record | Waveform, limit: Limit | None) -> Reading:
        """One number. Raises Stopped when nobody answers, InstrumentError when the simulated person is gone."""
        said = await self._ask(reading_prompt(self._plan, step, self._bench.time()))
        return self._reading(said, limit, step)

    async def rate(self, step: Record, limit: Limit | None) -> Reading:
        """A slope by two readings, before and after the time that it is recorded for. Raises as ``measure``, and what
        switching raises."""
        before, after = rate_prompts(self._plan, step, self._bench.time())
        first = await self._ask(before)
        begins = await self._switched(step.energize, True)
        await self._bench.clock.sleep(self._plan.seconds(step.for_) if step.for_ is not None else 0.0)
        ends = await self._switched(step.energize, False)
        await self._bench.clock.sleep(DRIPS)
        second = await self._ask(replace(after, at=self._bench.time()))
        a, b = (self._reading(said, None, step) for said in (first, second))
        seconds = ends.middle - begins.middle
        rate = (b.value - a.value) / seconds
        lines = [
            *change(a.budget, b.budget, seconds),
            line("begin", begins.half_width, "when it began").scaled(rate / seconds),
            line("end", ends.half_width, "when it ended").scaled(-rate / seconds),
        ]
        code = "K/s" if a.unit == "Cel" else f"{a.unit}/s"
        reading = make_reading(
            rate, code, lines, limit.shown_in if limit else "", how="by hand", raw=(a.value, b.value)
        )
        with_what = " and ".join(dict.fromkeys((a.instrument, b.instrument)))
        return replace(reading, instrument=with_what, by=b.by)

    async def _switched(self, outputs: Sequence[str], on: bool) -> Bracket:
        """When the last of these outputs changed; without any, now, as precisely as a hand acts."""
        now, outputs = self._bench.clock.now(), outputs if on else tuple(reversed(outputs))
        bracket = Bracket(now - HAND, now + HAND)
        for output in outputs:
            change = self._bench.outputs.turn_on if on else self._bench.outputs.turn_off
            answer = await change(output)
            bracket = Bracket(answer.asked, answer.had)
        return bracket

    async def time(
        self, step: Time, limit: Limit | None, start: Callable[[], Awaitable[None]] | None, meanwhile: Meanwhile
    ) -> Outcome:
        """A stop-watch reading: made ready, started, then read, with other steps beside it. Raises as ``measure``, and
        what the steps beside it raise."""
        ready, last = stop_watch_prompts(self._plan, step, self._bench.time())
        await self._ask(ready)
        if isinstance(step.start, StartByPerson):
            await self._ask(start_prompt(step, self._bench.time()))
        elif start is not None:
            await start()
        beside = Beside()
        tasks = meanwhile(beside)
        if tasks and any(isinstance(s, Ask) or self.takes(s) for s in step.meanwhile):
            await self._bench.clock.join(tasks[0])  # one person reads one thing after the other
        patience: float = step.time.start_within.to("s") + self._plan.seconds(step.time.give_up) + LOOKS_ON
        said = await self._ask(replace(last, at=self._bench.time()), patience)
        beside.over = True
        for task in tasks:
            await self._bench.clock.join(task)
        if beside.error is not None:
            raise beside.error
        return self._timed(step, said, limit)

    def _timed(self, step: Time, said: Said, limit: Limit | None) -> Outcome:
        if said.meaning == NEVER_BEGAN:
            began = edge_words(self._plan, step.time.from_)
            return Outcome(
                Verdict.FAIL, reason=f"{began} was not seen within {step.time.start_within}", answer=said.text
            )
        assert isinstance(said.meaning, Typed)
        seconds = convert(said.meaning.value, said.meaning.unit, "s")
        lines = [line(f"{edge} by hand", HAND, "a hand at a stop-watch") for edge in ("start", "end")]
        sensor = sensor_line(step, self._plan.bench, seconds)
        reading = self._reading(said, limit, None, lines if sensor is None else [*lines, sensor])
        reason = None
        if reading.bound == "more than":
            reason = f"{edge_words(self._plan, step.time.until)} was not seen in {reading.value:.1f} s"
        return replace(judged(reading, limit, reason), answer=said.text)

    async def _volts(self, point: str, function: str) -> float:
        """A voltage that must prove a circuit dead."""
        said = await self._ask(volts_prompt(self._plan, point, function, self._bench.time()))
        assert isinstance(said.meaning, Typed)
        return convert(said.meaning.value, said.meaning.unit, "V")

    async def _switch(self, output: str, on: bool) -> None:
        """Have a person switch an output, or everything off."""
        await self._people.ask(switch_prompt(self._plan.bench, output, on, self._bench.time()), self._bench.time)

    async def _ask(self, prompt: Prompted, patience: float = 0.0) -> Said:
        live = [o for o in self._bench.outputs.on if self._plan.bench.outputs[o].energizes != "nothing"]
        if live and prompt.kind != "done":
            caution = f"{prompt.caution} On meanwhile: {', '.join(live)}.".strip()
            prompt = replace(prompt, caution=caution)
        return await self._people.ask(prompt, self._bench.time, patience)

    def _reading(
        self, said: Said, limit: Limit | None, step: Measure | Record | Waveform | None, more: Lines = ()
    ) -> Reading:
        assert isinstance(said.meaning, Typed)
        found = said.meaning
        code = canonical(found.unit)
        lines = [*lines_of(found, said.text, self._plan.bench, step, self._bench.meter.today), *more]
        value = convert(found.value, found.unit, code)
        shown_in = limit.shown_in if limit else found.unit
        reading = make_reading(value, code, lines, shown_in, how="by hand", bound=found.bound)
        return replace(reading, instrument=found.instrument, by=self._people.named(said.by))
