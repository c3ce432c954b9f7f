"""Traces: one or more quantities or inputs over time, and the one number that is judged of them."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

from rig.bench.bench import LiveBench
from rig.events import Event, Sampled, Traced

CHUNK = 60  # points that go to the journal together


class Trace:
    """Samples bench quantities and inputs (closed is 1) at a stated period; points go out in chunks, nothing is kept
    back at the end. ``slack`` is the most that the time of a point may be off by, s."""

    def __init__(self, step: str, names: Sequence[str], bench: LiveBench, emit: Callable[[Event], None]) -> None:
        self._step, self._names, self._bench, self._emit = step, tuple(names), bench, emit
        self.times: dict[str, list[float]] = {n: [] for n in names}
        self.values: dict[str, list[float]] = {n: [] for n in names}
        self.slack = 0.0
        self._sent = dict.fromkeys(names, 0)

    async def run(self, every: float, over: Callable[[], bool]) -> None:
        """Sample until ``over()`` says so, asked before each sample. Raises InstrumentError."""
        clock = self._bench.clock
        next_time = clock.now()
        try:
            while not over():
                for name in self._names:
                    await self._sample(name)
                next_time = max(next_time + every, clock.now())
                await clock.sleep_until(next_time)
        finally:
            self.flush(least=1)

    async def _sample(self, name: str) -> None:
        value, asked, had = await self._look(name)
        at = self._bench.since_start((asked + had) / 2)
        self.slack = max(self.slack, (had - asked) / 2)
        self.times[name].append(at)
        self.values[name].append(value)
        self._emit(Sampled(at, self._step, name, value, self.unit(name)))
        self.flush(least=CHUNK)

    async def _look(self, name: str) -> tuple[float, float, float]:
        """The value now, and when it was asked for and had."""
        contact = self._bench.wiring.inputs.get(name)
        if contact is not None:
            state = await self._bench.state(name)
            return float(state.value == contact.closed), state.asked, state.had
        said = await self._bench.quantity(name)
        return said.value.value, said.asked, said.had

    def unit(self, name: str) -> str:
        """The canonical unit of a traced quantity; a number for an input."""
        if name in self._bench.wiring.inputs:
            return "1"
        return self._bench.wiring.quantities[name].unit

    def flush(self, least: int) -> None:
        """Send out the points of every quantity that has at least ``least`` unsent ones."""
        for name in self._names:
            start = self._sent[name]
            times, values = self.times[name][start:], self.values[name][start:]
            if len(times) >= least:
                self._emit(Traced(times[-1], self._step, name, self.unit(name), tuple(times), tuple(values)))
                self._sent[name] = len(self.times[name])


def slope(times: Sequence[float], values: Sequence[float]) -> tuple[float, float]:
    """Slope of a straight line by least squares, and its standard uncertainty from the scatter about the line.

    Needs three points or more; raises ValueError otherwise. (JCGM 100:2008, H.3, with the times taken as exact.)
    """
    n = len(times)
    if n < 3:
        raise ValueError("a slope needs at least three points")
    t_mean, v_mean = math.fsum(times) / n, math.fsum(values) / n
    s_tt = math.fsum((t - t_mean) ** 2 for t in times)
    if s_tt == 0:
        raise ValueError("a slope needs points at different times")
    b = math.fsum((t - t_mean) * (v - v_mean) for t, v in zip(times, values, strict=True)) / s_tt
    rest = math.fsum((v - v_mean - b * (t - t_mean)) ** 2 for t, v in zip(times, values, strict=True))
    return b, math.sqrt(rest / (n - 2) / s_tt)
