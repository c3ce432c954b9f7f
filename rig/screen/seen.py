"""What the bench's outputs were seen to be: read back, and how long ago."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from rig.bench.bench import LiveBench


@dataclass(frozen=True)
class OutputSeen:
    """One output: what it was told, what its feedback last said (None: nothing yet) and how many seconds ago."""

    name: str
    energizes: str
    told_on: bool
    says_on: bool | None
    age: float

    @property
    def word(self) -> str:
        """on, off, or unsure where what was told and what was read back do not agree, or nothing was read."""
        if self.says_on is None or self.says_on != self.told_on:
            return "unsure"
        return "on" if self.says_on else "off"


@dataclass(frozen=True)
class BenchSeen:
    """All outputs at one moment: ``at`` on the bench's clock, ``wall`` (monotonic) on the screen's."""

    at: float
    wall: float
    outputs: tuple[OutputSeen, ...]
    latched: str | None

    def named(self, word: str) -> tuple[OutputSeen, ...]:
        """The outputs of a word. Those that nobody has told anything, and that have not been read, are not unsure."""
        return tuple(o for o in self.outputs if o.word == word and (o.told_on or o.says_on is not None))

    def age(self, of: Iterable[OutputSeen] = ()) -> float:
        """The age of the oldest answer there is of some outputs, of all where none is named."""
        return max((o.age for o in (tuple(of) or self.outputs) if o.says_on is not None), default=0.0)

    @property
    def read(self) -> bool:
        """Whether every output has been read back since the bench was opened."""
        return all(o.says_on is not None for o in self.outputs)


def look_at(live: LiveBench, wall: float) -> BenchSeen:
    """What is known now; nothing is asked on the wire."""
    outputs, now = live.outputs, live.clock.now()
    told = set(outputs.on)
    found = []
    for name, spec in live.wiring.outputs.items():
        said = outputs.last_said(name)
        on, age = (None, 0.0) if said is None else (said[0], max(0.0, now - said[1]))
        found.append(OutputSeen(name, spec.energizes, name in told, on, age))
    return BenchSeen(live.time(), wall, tuple(found), live.interlocks.latched)
