"""Timing a change: from one edge to another, while other steps run beside it."""

from __future__ import annotations

import asyncio
import math
from collections.abc import Awaitable, Callable
from dataclasses import dataclass, replace
from typing import Any

from rig.bench.bench import LiveBench
from rig.errors import RigError
from rig.events import Event, Reading, Sampled
from rig.limits import Limit, Verdict
from rig.plan.edges import InputEdge, OutputEdge, QuantityEdge
from rig.plan.procedure import Time
from rig.plan.stated import stated_quantity
from rig.plan.wiring import Bench
from rig.run.contact import Chatter, changes
from rig.run.edges import Bracket, Seen, Watch, look_for
from rig.run.outcome import Outcome, judged, no_reading
from rig.run.readings import make_reading
from rig.uncertainty import Line, line, rectangular, total

CLOCK_ERROR = 1e-4  # the quartz clock of a computer keeps within 100 ppm (common practice, no source)
SHOW_EVERY = 1.0  # s between two Sampled events; polls may be ten times as many


@dataclass
class Beside:
    """What runs beside a timing: whether it is over, an error that must end it, and whether the contact that it ended
    with is still looked at, so that records of contacts go on."""

    over: bool = False
    looks_on: bool = False
    error: RigError | None = None


class Timing:
    """One ``time`` step. ``start`` does what starts it; ``meanwhile`` runs the steps beside it."""

    def __init__(
        self,
        step: Time,
        give_up: float,
        limit: Limit | None,
        bench: LiveBench,
        emit: Callable[[Event], None],
        start: Callable[[], Awaitable[None]] | None,
        meanwhile: Callable[[Beside], list[asyncio.Task[Any]]],
    ) -> None:
        self._step, self._give_up, self._limit = step, give_up, limit
        self._bench, self._clock, self._emit = bench, bench.clock, emit
        self._start, self._meanwhile = start, meanwhile
        self._started_at: float | None = None
        self._shown_at = float("-inf")
        self.beside = Beside()
        self.tasks: list[asyncio.Task[Any]] = []

    async def run(self) -> Outcome:
        """Wait for both edges. Raises InstrumentError, OutputError, Stopped."""
        self._spawn_start()
        first = self._watch(self._step.time.from_)
        start_edge = await first.until(self._start_deadline)
        self._raise_beside()
        if start_edge is None:
            await self._finish()
            return Outcome(Verdict.FAIL, reason=f"{_words(self._step.time.from_)} was not seen {self._within()}")
        if not first.seen_old:
            await self._finish()
            return _too_late(self._step.time.from_)
        self.tasks += self._meanwhile(self.beside)
        second = self._watch(self._step.time.until)
        end_edge = await second.until(lambda: self._deadline(start_edge.middle + self._give_up))
        now = self._clock.now()
        self.beside.looks_on = end_edge is not None and second.seen_old and self._step.then_watch is not None
        self.beside.over = True
        after = await self._look_on(second) if self.beside.looks_on else None
        self.beside.looks_on = False
        await self._finish()
        self._raise_beside()
        if end_edge is None:
            return self._gave_up(start_edge, now)
        if not second.seen_old:
            return _too_late(self._step.time.until)
        timed = self._timed(start_edge, end_edge)
        return timed if after is None else replace(timed, answer=after.told(start_edge, end_edge))

    async def _look_on(self, watch: Watch) -> Chatter | None:
        """Watch the contact that the timing ended with a while longer, where the step says so."""
        if self._step.then_watch is None:
            return None
        seconds = self._step.then_watch.to("s")
        return Chatter(changes(await watch.looks(seconds)), seconds)

    def _spawn_start(self) -> None:
        if self._start is None:
            self._started_at = self._clock.now()
        else:
            self.tasks.append(self._clock.spawn(self._begin(self._start), f"start of {self._step.step}"))

    async def _begin(self, start: Callable[[], Awaitable[None]]) -> None:
        try:
            await start()
        except RigError as error:
            self.beside.error = error
        self._started_at = self._clock.now()

    def _start_deadline(self) -> float | None:
        if self.beside.error is not None:
            return float("-inf")
        if self._started_at is None:
            return None
        patience: float = self._step.time.start_within.to("s")
        return self._started_at + patience

    def _deadline(self, end: float) -> float:
        return float("-inf") if self.beside.error is not None else end

    def _watch(self, edge: InputEdge | OutputEdge | QuantityEdge) -> Watch:
        return Watch(look_for(edge, self._bench), self._clock, self._step.every.to("s"), self._show)

    def _show(self, seen: Seen) -> None:
        if isinstance(seen.value, float) and seen.had - self._shown_at >= SHOW_EVERY:
            self._shown_at = seen.had
            at = self._bench.since_start(seen.had)
            self._emit(Sampled(at, self._step.step, seen.name, seen.value, seen.unit))

    async def _finish(self) -> None:
        self.beside.over = True
        for task in self.tasks:
            await self._clock.join(task)

    def _raise_beside(self) -> None:
        if self.beside.error is not None:
            raise self.beside.error

    def _within(self) -> str:
        return f"within {self._step.time.start_within}"

    def _gave_up(self, start: Bracket, now: float) -> Outcome:
        reading = make_reading(now - start.middle, "s", self._lines(start, None, now - start.middle), bound="more than")
        return judged(reading, self._limit, f"{_words(self._step.time.until)} was not seen in {reading.value:.1f} s")

    def _timed(self, start: Bracket, end: Bracket) -> Outcome:
        value = end.middle - start.middle
        reading: Reading = make_reading(value, "s", self._lines(start, end, value))
        since = self._bench.since_start
        return replace(judged(reading, self._limit), bracket=(since(end.before), since(end.after)))

    def _lines(self, start: Bracket, end: Bracket | None, value: float) -> list[Line]:
        lines = [_edge("start edge", start), *([] if end is None else [_edge("end edge", end)]), clock_line(value)]
        sensor = sensor_line(self._step, self._bench.wiring, value)
        return lines if sensor is None else [*lines, sensor]


def _edge(name: str, bracket: Bracket) -> Line:
    return line(name, bracket.half_width, "between the last answer with the old state and the first with the new")


def clock_line(seconds: float) -> Line:
    """What the computer's clock may be off by in a time of ``seconds``."""
    u = rectangular(CLOCK_ERROR)
    return Line("clock", u, f"{CLOCK_ERROR * 1e6:g} ppm of the time", sensitivity=seconds, origin="clock")


def sensor_line(step: Time, wiring: Bench, value: float) -> Line | None:
    """A threshold on a quantity is crossed early or late by the sensor's error divided by the mean rate: for a time of
    ``value`` s between two thresholds; None for other edges."""
    first, last = step.time.from_, step.time.until
    if not isinstance(first, QuantityEdge) or not isinstance(last, QuantityEdge) or first.quantity != last.quantity:
        return None
    ends = [(e.reaches or e.falls_to) for e in (first, last)]
    span: float = abs(ends[1].canonical().value - ends[0].canonical().value) if ends[0] and ends[1] else 0.0
    if span == 0.0:
        return None
    statement = stated_quantity(wiring, first.quantity)
    error, _ = total(statement.lines(0.0))
    basis = f"{first.quantity} at both thresholds, over the mean rate"
    return Line("sensor", error * math.sqrt(2.0), basis, sensitivity=value / span)


def _too_late(edge: InputEdge | OutputEdge | QuantityEdge) -> Outcome:
    what = f"{_words(edge)} was so before the timing began, and nothing could be timed"
    return no_reading(_name(edge), what, "See whether it is so; if it is not, check its contact and its wire")


def _name(edge: InputEdge | OutputEdge | QuantityEdge) -> str:
    if isinstance(edge, InputEdge):
        return edge.input
    return edge.output if isinstance(edge, OutputEdge) else edge.quantity


def _words(edge: InputEdge | OutputEdge | QuantityEdge) -> str:
    if isinstance(edge, InputEdge):
        return f"'{edge.input} {edge.is_}'"
    if isinstance(edge, OutputEdge):
        return f"'{edge.output} {edge.is_}'"
    return f"'{edge.quantity} {edge.reaches or edge.falls_to}'"
