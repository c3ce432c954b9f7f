"""Readings by hand: a person takes one, types it, and says with what.

Any reading of any step can be taken so (``rig run … --by-hand STEP``). What the step switches is switched as ever, and
ohms are asked for only when the circuit is proved dead; only the instrument is another one, with its own uncertainty.
"""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable, Collection, Iterable, Sequence
from dataclasses import replace

from rig.bench.bench import LiveBench
from rig.errors import Fault, InputError
from rig.events import Prompted, Reading
from rig.limits import Limit, Verdict
from rig.plan.edges import InputEdge, OutputEdge, QuantityEdge, StartByPerson
from rig.plan.messages import listed, nearest
from rig.plan.plan import Plan, each_step
from rig.plan.procedure import Measure, Record, Time, Waveform
from rig.plan.view import FUNCTION_QUANTITY, SLOPE_QUANTITY
from rig.quantities import UNITS, canonical, convert, unit
from rig.run.edges import Bracket
from rig.run.outcome import Outcome, judged
from rig.run.people import People, Said, prompt_of
from rig.run.readings import Parts, make_reading
from rig.run.timing import Beside, sensor_part
from rig.run.typed import Typed
from rig.uncertainty import combine, rectangular

HAND = 0.3  # s that a hand may be early or late at a stop-watch, at each end (common practice, no source)
DRIPS = 10.0  # s from switching off until what runs has run out (common practice, no source)
LOOKS_ON = 60.0  # s that a simulated person goes on looking beyond what the step itself waits

ByHandStep = Measure | Record | Time | Waveform
NEVER_BEGAN = "never began"

Meanwhile = Callable[[Beside], list[asyncio.Task[object]]]


class ByHand:
    """Takes readings by hand on a bench; ``names`` are the steps that are to be taken so."""

    def __init__(self, plan: Plan, bench: LiveBench, people: People, names: Collection[str]) -> None:
        self._plan, self._bench, self._people = plan, bench, people
        self._names = frozenset(names)

    def takes(self, step: ByHandStep) -> bool:
        """Whether a person takes the reading of this step."""
        return step.step in self._names

    async def measure(self, step: Measure | Record | Waveform, limit: Limit | None) -> Reading:
        """One number. Raises Stopped when nobody answers, InstrumentError when the simulated person is gone."""
        said = await self._ask(reading_prompt(self._plan, step, self._bench.time()))
        return self._reading(said, limit)

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
        a, b = (self._reading(said, None) for said in (first, second))
        seconds = ends.middle - begins.middle
        rate = (b.value - a.value) / seconds
        parts = (
            ("before", a.u / seconds),
            ("after", b.u / seconds),
            ("timing", abs(rate) / seconds * combine([rectangular(t.half_width) for t in (begins, ends)])),
        )
        code = "K/s" if a.unit == "Cel" else f"{a.unit}/s"
        reading = make_reading(
            rate, code, parts, limit.shown_in if limit else "", how="by hand", raw=(a.value, b.value)
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
        if tasks and any(self.takes(s) for s in step.meanwhile):
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
        parts: Parts = (("start by hand", rectangular(HAND)), ("end by hand", rectangular(HAND)))
        sensor = sensor_part(step, self._plan.bench, seconds)
        reading = self._reading(said, limit, (*parts, ("sensor", sensor)) if sensor else parts)
        reason = None
        if reading.bound == "more than":
            reason = f"{edge_words(self._plan, step.time.until)} was not seen in {reading.value:.1f} s"
        return replace(judged(reading, limit, reason), answer=said.text)

    async def _ask(self, prompt: Prompted, patience: float = 0.0) -> Said:
        live = [o for o in self._bench.outputs.on if self._plan.bench.outputs[o].energizes != "nothing"]
        if live and prompt.kind != "done":
            caution = f"{prompt.caution} On meanwhile: {', '.join(live)}.".strip()
            prompt = replace(prompt, caution=caution)
        return await self._people.ask(prompt, self._bench.time, patience)

    def _reading(self, said: Said, limit: Limit | None, more: Parts = ()) -> Reading:
        assert isinstance(said.meaning, Typed)
        found = said.meaning
        code = canonical(found.unit)
        half = found.off_by if unit(found.unit).offset else convert(found.off_by, found.unit, code)
        part = ("stated by hand" if found.stated else "last digit", rectangular(half))
        value = convert(found.value, found.unit, code)
        shown_in = limit.shown_in if limit else found.unit
        reading = make_reading(value, code, (part, *more), shown_in, how="by hand", bound=found.bound)
        return replace(reading, instrument=found.instrument, by=self._people.named(said.by))


# what is asked


def reading_prompt(plan: Plan, step: Measure | Record | Waveform, at: float) -> Prompted:
    """The question for one number."""
    thing, options = "", ("",)
    if isinstance(step, Measure):
        on = "" if step.range is None else f", on a range that takes {step.range}"
        question = f"Measure {step.measure} at {_place(plan, step.at)}{on}. What does your instrument read?"
        thing, options = step.at, (step.measure,)
    elif isinstance(step, Record):
        thing, options = step.judged, (step.figure,)
        question = f"Watch {_place(plan, thing)}. What was the {step.figure}?"
    else:
        thing, options = step.waveform, (step.judge,)
        question = f"Record {_place(plan, thing)} with your own instrument. What was its {step.judge}?"
    caution = step.caution or ""
    return Prompted(at, step.step, "measure", thing, question, caution, "reading", asked_in(plan, step), options)


def rates(step: ByHandStep) -> bool:
    """Whether this is a slope that two readings and a known time give."""
    return isinstance(step, Record) and step.figure == "slope" and step.for_ is not None


def rate_prompts(plan: Plan, step: Record, at: float) -> tuple[Prompted, Prompted]:
    """The questions for a rate: what stands there before, and after."""
    spec, name = plan.bench.quantities[step.judged], step.judged
    seconds = 0.0 if step.for_ is None else plan.seconds(step.for_)
    code, caution = spec.means[0].canonical().unit, step.caution or ""

    def ask(when: str) -> Prompted:
        question = f"What does {_place(plan, name)} read {when} the {seconds:g} s?"
        return Prompted(
            at, f"{step.step}-{when}", "measure", name, question, caution, "reading", code, (spec.measures,)
        )

    return ask("before"), ask("after")


def stop_watch_prompts(plan: Plan, step: Time, at: float) -> tuple[Prompted, Prompted]:
    """To get ready with a stop-watch, and to read it."""
    begins, ends = step.time.from_, step.time.until
    waits = (step.time.start_within.to("s"), plan.seconds(step.time.give_up))
    options = (edge_code(plan, begins), edge_code(plan, ends), *(f"{seconds:g}" for seconds in waits))
    between = f"from {edge_words(plan, begins)} to {edge_words(plan, ends)}"
    ready = f"Take a stop-watch. It runs {between}. Ready?"
    last = f"What does the stop-watch read, {between}? After {waits[1]:g} s say 'more than {waits[1]:g} s with …'."
    caution = step.caution or ""
    return (
        Prompted(at, f"{step.step}-ready", "confirm", "stop-watch", ready, caution, "done", "", options),
        Prompted(at, step.step, "measure", "stop-watch", last, caution, "stop-watch", asked_in(plan, step), options),
    )


def start_prompt(step: Time, at: float) -> Prompted:
    """What starts a timing by hand."""
    assert isinstance(step.start, StartByPerson)
    return prompt_of(f"{step.step}-start", step.start, step.caution or "", at)


def prompts_by_hand(plan: Plan, names: Collection[str]) -> Iterable[Prompted]:
    """Every prompt that the steps by hand make, by the name under which an answer is prepared."""
    for step in _steps(plan):
        if step.step in names and isinstance(step, Time):
            yield from stop_watch_prompts(plan, step, 0.0)
            if isinstance(step.start, StartByPerson):
                yield start_prompt(step, 0.0)
        elif step.step in names and isinstance(step, Record) and rates(step):
            yield from rate_prompts(plan, step, 0.0)
        elif step.step in names and not isinstance(step, Time):
            yield reading_prompt(plan, step, 0.0)


def refuse_not_by_hand(plan: Plan, names: Collection[str]) -> None:
    """Raises InputError for names that are no steps with a reading to take."""
    known = [step.step for step in _steps(plan)]
    faults = [
        Fault("--by-hand", 0, 0, f"no step with a reading to take is called '{name[:60]}'{nearest(name, known)}")
        for name in names
        if name not in known
    ]
    if faults:
        raise InputError("not all of these can be taken by hand", f"Can be: {listed(known, 60)}.", faults=tuple(faults))


def _steps(plan: Plan) -> list[ByHandStep]:
    steps: Sequence[object] = [s for stage in plan.procedure.stages for s in each_step(stage.all_steps())]
    return [s for s in steps if isinstance(s, (Measure, Record, Time, Waveform))]


def asked_in(plan: Plan, step: ByHandStep) -> str:
    """The unit that a person is asked for: the one in which the limit's author thinks, else the canonical one."""
    limit = plan.limit(step)
    if limit is not None and limit.shown_in:
        return limit.shown_in
    if isinstance(step, Time):
        quantity = "time"
    elif isinstance(step, Measure):
        quantity = FUNCTION_QUANTITY[step.measure]
    elif isinstance(step, Record):
        quantity = FUNCTION_QUANTITY[plan.bench.quantities[step.judged].measures]
        quantity = SLOPE_QUANTITY[quantity] if step.figure == "slope" else quantity
    else:
        quantity = "current" if "DC amps" in plan.bench.test_points[step.waveform].measures else "voltage"
    return next(u.code for u in UNITS if u.quantity == quantity)


def _place(plan: Plan, name: str) -> str:
    """A test point or a quantity with what it is."""
    bench = plan.bench
    spec = bench.test_points.get(name) or bench.quantities.get(name)
    return name if spec is None else f"{name} ({spec.for_})"


def edge_words(plan: Plan, edge: InputEdge | OutputEdge | QuantityEdge) -> str:
    """An edge for a person."""
    if isinstance(edge, InputEdge):
        return f"'{edge.input} {edge.is_}' ({plan.bench.inputs[edge.input].for_})"
    if isinstance(edge, OutputEdge):
        return f"'{edge.output} {edge.is_}'"
    return f"'{edge.quantity} {edge.reaches or edge.falls_to}'"


def edge_code(plan: Plan, edge: InputEdge | OutputEdge | QuantityEdge) -> str:
    """An edge for a simulated person, who knows contacts and canonical units, not the bench's words."""
    if isinstance(edge, InputEdge):
        return f"{edge.input} {'closed' if edge.is_ == plan.bench.inputs[edge.input].closed else 'open'}"
    if isinstance(edge, OutputEdge):
        return f"{edge.output} {edge.is_}"
    if edge.reaches is not None:
        return f"{edge.quantity} up-to {edge.reaches.canonical().value:g}"
    assert edge.falls_to is not None
    return f"{edge.quantity} down-to {edge.falls_to.canonical().value:g}"
