"""How each kind of step is done. One method a kind; each returns an outcome, none writes it down."""

from __future__ import annotations

import asyncio
import math
from collections.abc import AsyncIterator, Callable, Collection, Mapping, Sequence
from contextlib import asynccontextmanager
from dataclasses import replace
from typing import Any, Protocol

from rig.bench.bench import LiveBench
from rig.errors import RECOVERABLE, OverRange
from rig.events import Event, Reading, StepResult
from rig.limits import Limit, Verdict
from rig.plan.answers import NumberAnswer
from rig.plan.edges import StartByPerson
from rig.plan.formula import CONSTANTS
from rig.plan.formula_words import FormulaError
from rig.plan.plan import Plan
from rig.plan.procedure import (
    Ask,
    Compute,
    Measure,
    Record,
    Settle,
    Switch,
    Time,
    Waveform,
)
from rig.plan.stated import stated_quantity
from rig.quantities import Quantity
from rig.run.by_hand import ByHand
from rig.run.computing import compute, known, meaning
from rig.run.doubts import Doubts
from rig.run.figures import contact_figure, figure
from rig.run.hand_prompts import rates
from rig.run.outcome import Outcome, judged, no_reading
from rig.run.people import People, Said, prompt_of
from rig.run.provenance import named, named_together, read_by, read_with
from rig.run.readings import (
    by_hand,
    from_meter,
    from_quantity,
    make_reading,
    open_circuit,
    standard_uncertainty_in,
)
from rig.run.timing import Beside, Timing
from rig.run.traces import Trace
from rig.run.waveforms import figure_of, plunger_of

AVERAGE_EVERY = 0.2  # s between the readings of an averaged bench quantity: longer than a module's own filter


class RunBeside(Protocol):
    """How the engine runs the steps beside a timing."""

    def __call__(self, steps: Sequence[Measure | Record | Ask], beside: Beside) -> list[asyncio.Task[Any]]: ...


class StepWork:
    """Does steps on a bench. ``results`` are the engine's, by step name: computations look there."""

    def __init__(
        self,
        plan: Plan,
        bench: LiveBench,
        people: People,
        emit: Callable[[Event], None],
        results: Mapping[str, StepResult],
        run_beside: RunBeside,
        by_hand: Collection[str] = (),
    ) -> None:
        self._plan, self._bench, self._people, self._emit = plan, bench, people, emit
        self.hand = ByHand(plan, bench, people, by_hand)
        self._doubts = Doubts(bench, by_hand)
        self._results, self._run_beside = results, run_beside
        self.tasks: list[asyncio.Task[Any]] = []

    async def do(self, step: Any, beside: Beside | None = None) -> Outcome:
        """Do one step of any kind but ``repeat``. Raises InstrumentError, OutputError, Stopped."""
        outcome = await self._do(step, beside)
        if outcome.reading is not None and not outcome.reading.instrument:
            instrument = named(read_by(step, self._bench.wiring), self._bench)
            outcome = replace(outcome, reading=replace(outcome.reading, instrument=instrument))
        return self._doubts.judged(step, outcome)

    async def _do(self, step: Any, beside: Beside | None) -> Outcome:
        if isinstance(step, (Record, Waveform)) and self.hand.takes(step):
            return await self._record_by_hand(step)
        if isinstance(step, Ask):
            return await self._ask(step)
        if isinstance(step, Switch):
            return await self._switch(step)
        if isinstance(step, Settle):
            await self._bench.clock.sleep(step.settle.to("s"))
            return Outcome(Verdict.PASS)
        if isinstance(step, Measure):
            return await self._measure(step, beside)
        if isinstance(step, Time):
            return await self._time(step)
        if isinstance(step, Record):
            return await self._record(step, beside)
        if isinstance(step, Waveform):
            return await self._waveform(step)
        if isinstance(step, Compute):
            return self._compute(step)
        raise TypeError(f"no way to do a {type(step).__name__}")

    async def _ask(self, step: Ask) -> Outcome:
        prompt = prompt_of(step.step, step, step.caution or "", self._bench.time())
        said = await self._people.ask(prompt, self._bench.time)
        if isinstance(step.answer, NumberAnswer):
            return self._by_hand(step, step.answer.number_in, said)
        good = step.expect is None or said.meaning == step.expect or said.meaning in step.expect
        wanted = step.expect if isinstance(step.expect, str) else " or ".join(step.expect or [])
        reason = None if good else f"answered {said.text}, expected {wanted}"
        return Outcome(Verdict.PASS if good else Verdict.FAIL, reason=reason, answer=str(said.meaning))

    def _by_hand(self, step: Ask, code: str, said: Said) -> Outcome:
        assert isinstance(said.meaning, float)
        stated = step.standard_uncertainty
        u = None if stated is None else standard_uncertainty_in(stated.value, stated.unit)
        limit = self._plan.limit(step)
        reading = by_hand(said.meaning, code, u, said.text, limit.shown_in if limit else "")
        instrument = read_with(step, said.text, self._bench.wiring)
        reading = replace(reading, instrument=instrument, by=self._people.named(said.by))
        outcome = judged(reading, limit)
        return Outcome(outcome.verdict, reading, outcome.reason or step.no_limit, outcome.probability, answer=said.text)

    async def _switch(self, step: Switch) -> Outcome:
        for output in step.switch.turn_off:
            await self._bench.outputs.turn_off(output)
        for output in step.switch.turn_on:
            await self._bench.outputs.turn_on(output)
        return Outcome(Verdict.PASS)

    @asynccontextmanager
    async def _energized(self, outputs: Sequence[str]) -> AsyncIterator[None]:
        """Outputs that are on for one step only. After an error that ends the run, all-off does it."""
        for output in outputs:
            await self._bench.outputs.turn_on(output)
        try:
            yield
        except RECOVERABLE:
            await self._turn_off(outputs)
            raise
        await self._turn_off(outputs)

    async def _turn_off(self, outputs: Sequence[str]) -> None:
        for output in reversed(outputs):
            await self._bench.outputs.turn_off(output)

    async def _measure(self, step: Measure, beside: Beside | None) -> Outcome:
        limit = self._plan.limit(step)
        by_hand = self.hand.takes(step)
        point = self._bench.wiring.test_points.get(step.at) if by_hand else None
        if point is not None:
            await self._bench.meter.allow(step.at, step.measure)
        unstated = ""
        async with self._energized([*(point.needs_on if point is not None else ()), *step.energize]):
            if step.settle is not None:
                await self._bench.clock.sleep(step.settle.to("s"))
            if by_hand:
                reading = await self.hand.measure(step, limit)
            elif step.at in self._bench.wiring.quantities:
                reading = await self._read_quantity(step, limit)
            else:
                reading, unstated = await self._read_meter(step, limit)
        if beside is not None and beside.over:
            return Outcome(Verdict.NOT_RUN, reason="the timing beside it ended before this reading was taken")
        return self._judged(step, reading, limit, unstated)

    def _judged(self, step: Any, reading: Reading, limit: Limit | None, unstated: str = "") -> Outcome:
        """The outcome of a reading; ``unstated`` says why its accuracy is not known, if it is not."""
        if limit is not None and unstated:
            return Outcome(Verdict.NOT_EVALUATED, reading, unstated)
        return judged(reading, limit, step.no_limit if limit is None else None)

    async def _read_quantity(self, step: Measure, limit: Limit | None) -> Reading:
        values: list[float] = []
        raw: list[float] = []
        cold: list[float] = []
        for n in range(step.average):
            if n:
                await self._bench.clock.sleep(AVERAGE_EVERY)
            said = await self._bench.quantity(step.at)
            values.append(said.value.value)
            raw.append(said.value.raw)
            cold += [] if said.value.cold is None else [said.value.cold]
        return from_quantity(step.at, self._bench.wiring, values, raw, limit.shown_in if limit else "", cold)

    async def _read_meter(self, step: Measure, limit: Limit | None) -> tuple[Reading, str]:
        """The reading, and why its accuracy is not known, if it is not."""
        shown_in = limit.shown_in if limit else ""
        meter = self._bench.meter
        try:
            said = await meter.measure(step.at, step.measure, step.range, step.average)
            return from_meter(said, shown_in), said.unstated
        except OverRange as error:
            used = meter.range_used(step.at, step.measure, step.range)
            if step.over_range != "open circuit" or used is None:
                raise
            found = open_circuit("V" if step.measure == "diode" else "Ohm", *used, shown_in)
            return replace(found, raw=error.raw), ""

    async def _time(self, step: Time) -> Outcome:
        start = None if step.start is None else lambda: self._begin(step)
        if self.hand.takes(step):
            return await self.hand.time(
                step, self._plan.limit(step), start, lambda beside: self._run_beside(step.meanwhile, beside)
            )
        timing = Timing(
            step,
            self._plan.seconds(step.time.give_up),
            self._plan.limit(step),
            self._bench,
            self._emit,
            start,
            lambda beside: self._run_beside(step.meanwhile, beside),
        )
        self.tasks = timing.tasks
        return await timing.run()

    async def _begin(self, step: Time) -> None:
        if isinstance(step.start, StartByPerson):
            prompt = prompt_of(step.step, step.start, step.caution or "", self._bench.time())
            await self._people.ask(prompt, self._bench.time)
        elif step.start is not None:
            for output in step.start.turn_on:
                await self._bench.outputs.turn_on(output)

    async def _record(self, step: Record, beside: Beside | None) -> Outcome:
        trace = Trace(step.step, step.record, self._bench, self._emit)
        clock, name = self._bench.clock, step.judged
        contact = name in self._bench.wiring.inputs

        def over() -> bool:
            ended = beside is not None and beside.over and not (contact and beside.looks_on)
            return ended or clock.now() > end

        async with self._energized(step.energize):
            end = math.inf if step.for_ is None else clock.now() + self._plan.seconds(step.for_)
            await trace.run(step.every.to("s"), over)
        limit = self._plan.limit(step)
        if contact:
            return self._contact(step, trace, limit)
        statement = stated_quantity(self._bench.wiring, name)
        try:
            value, code, lines, remark = figure(
                step.figure, statement, trace.unit(name), trace.times[name], trace.values[name]
            )
        except ValueError as error:
            return no_reading(name, str(error), "See its trace, and check its sensor")
        outcome = self._judged(step, make_reading(value, code, lines, limit.shown_in if limit else ""), limit)
        return replace(outcome, answer=remark or None)

    def _contact(self, step: Record, trace: Trace, limit: Limit | None) -> Outcome:
        """The figure of a contact's record. A contact that never closed has none, and that is the unit's doing."""
        name = step.judged
        try:
            value, code, lines, remark = contact_figure(step.figure, trace.times[name], trace.values[name], trace.slack)
        except ValueError as error:
            return Outcome(Verdict.NOT_RUN, reason=f"{name}: {error}")
        outcome = self._judged(step, make_reading(value, code, lines, limit.shown_in if limit else ""), limit)
        return replace(outcome, answer=remark or None)

    async def _record_by_hand(self, step: Record | Waveform) -> Outcome:
        """The one number of a record: by two readings, or made by an instrument that is not the rig's."""
        why_not = self.hand.cannot(step)
        if why_not is not None:
            return Outcome(Verdict.NOT_RUN, reason=why_not)
        limit = self._plan.limit(step)
        if isinstance(step, Record) and rates(step):
            return self._judged(step, await self.hand.rate(step, limit), limit)
        async with self._energized(step.energize):
            reading = await self.hand.measure(step, limit)
        return self._judged(step, reading, limit)

    async def _waveform(self, step: Waveform) -> Outcome:
        interval = step.interval.to("s")
        count = max(2, round(step.for_.to("s") / interval))
        limit = self._plan.limit(step)
        said = await self._bench.meter.record(step.waveform, Quantity(3.0, "A"), interval, count, step.energize)
        period = self._plan.fact("mains.frequency").si ** -1 if step.judge == "inrush to holding" else None
        try:
            value, code, lines = figure_of(step.judge, said, interval, period)
        except ValueError as error:
            return no_reading(step.waveform, str(error), "See the waveform, and check the leads there")
        reading = make_reading(value, code, lines, limit.shown_in if limit else "")
        outcome = self._judged(step, reading, limit, said.unstated)
        return replace(outcome, answer=plunger_of(step.judge, said, interval, period))

    def _compute(self, step: Compute) -> Outcome:
        formula = self._plan.formula(step)
        readings: dict[str, Reading] = {}
        facts: dict[str, float] = {}
        for name in formula.names:
            if name in CONSTANTS:
                continue
            if "." in name:
                facts[name] = self._plan.fact(name).si
                continue
            result = self._results.get(name)
            if result is None or result.reading is None:
                return Outcome(Verdict.NOT_RUN, reason=f"needs a reading of {name}, and there is none")
            readings[name] = known(result)
        limit = self._plan.limit(step)
        try:
            reading = compute(formula, readings, facts, limit.shown_in if limit else step.in_)
        except FormulaError as error:
            return no_reading(step.step, f"has no value: {error}", "See the readings that it is computed from")
        except ValueError as error:
            return Outcome(Verdict.NOT_RUN, reason=str(error))
        reading = replace(reading, instrument=named_together(readings.values()))
        return replace(self._judged(step, reading, limit), answer=meaning(formula, reading))
