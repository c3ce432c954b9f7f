"""Edges: the moment at which something changed, between two exchanges.

An edge lies between the sending of the last request that read the old state and the arrival of the first answer
with the new one. Both ends are kept; half the width is the edge's uncertainty, taken as rectangular (GUM 4.3.7).
"""

from __future__ import annotations

from collections.abc import Awaitable, Callable
from dataclasses import dataclass

from rig.bench.bench import LiveBench
from rig.bench.clock import Clock
from rig.plan.edges import InputEdge, OutputEdge, QuantityEdge
from rig.quantities import Quantity


@dataclass(frozen=True)
class Seen:
    """One look: whether the new state is there, the times of the exchange, and what a person would like to see."""

    reached: bool
    asked: float
    had: float
    name: str
    value: float | str
    unit: str


@dataclass(frozen=True)
class Bracket:
    """An edge between ``before`` and ``after``, on the bench's clock."""

    before: float
    after: float

    @property
    def middle(self) -> float:
        return (self.before + self.after) / 2

    @property
    def half_width(self) -> float:
        return (self.after - self.before) / 2


Look = Callable[[], Awaitable[Seen]]


def look_for(edge: InputEdge | OutputEdge | QuantityEdge, bench: LiveBench) -> Look:
    """How to look whether an edge's new state is there: one exchange a look."""
    if isinstance(edge, InputEdge):
        return lambda: _input(edge, bench)
    if isinstance(edge, OutputEdge):
        return lambda: _output(edge, bench)
    target, upwards = edge.reaches or edge.falls_to, edge.reaches is not None
    assert target is not None
    name, canonical = edge.quantity, target.canonical()
    return lambda: _quantity(name, canonical, upwards, bench)


async def _input(edge: InputEdge, bench: LiveBench) -> Seen:
    said = await bench.state(edge.input)
    return Seen(said.value == edge.is_, said.asked, said.had, edge.input, said.value, "")


async def _output(edge: OutputEdge, bench: LiveBench) -> Seen:
    said = await bench.outputs.feedback(edge.output)
    word = "on" if said.value else "off"
    return Seen(word == edge.is_, said.asked, said.had, edge.output, word, "")


async def _quantity(name: str, target: Quantity, upwards: bool, bench: LiveBench) -> Seen:
    said = await bench.quantity(name)
    value = said.value.value
    reached = value >= target.value if upwards else value <= target.value
    return Seen(reached, said.asked, said.had, name, value, target.unit)


class Watch:
    """Looks at a stated period until an edge is seen. ``seen_old`` tells whether the old state was ever read."""

    def __init__(self, look: Look, clock: Clock, every: float, show: Callable[[Seen], None]) -> None:
        self._look, self._clock, self._every, self._show = look, clock, every, show
        self.seen_old = False

    async def until(self, deadline: Callable[[], float | None]) -> Bracket | None:
        """The edge, or None when ``deadline()`` (a clock time; None while it is not known yet) has passed.

        A state that is new at the first look gives a bracket that begins at that look: see ``seen_old``."""
        next_look = self._clock.now()
        last_old: float | None = None
        while True:
            seen = await self._look()
            self._show(seen)
            if seen.reached:
                return Bracket(seen.asked if last_old is None else last_old, seen.had)
            last_old = seen.asked
            self.seen_old = True
            end = deadline()
            if end is not None and seen.had >= end:
                return None
            next_look = max(next_look + self._every, self._clock.now())
            await self._clock.sleep_until(next_look)

    async def looks(self, seconds: float) -> list[Seen]:
        """Look on at the stated period for so long."""
        end = self._clock.now() + seconds
        next_look, found = self._clock.now(), []
        while self._clock.now() < end:
            next_look = max(next_look + self._every, self._clock.now())
            await self._clock.sleep_until(next_look)
            found.append(await self._look())
            self._show(found[-1])
        return found
