"""A reference part of the bench: a time relay, whose contact closes a known time after its coil was pulled."""

from random import Random

NOMINAL, OFF_BY = 1500, 2  # ticks: half a minute, and what it may be off by (invented)


class TimeRelay:
    """One that was made with its own small error, from a seed."""

    def __init__(self, seed: int) -> None:
        self._ticks = NOMINAL + Random(f"{seed}/time relay").randint(-OFF_BY, OFF_BY)
        self._coil = False
        self.due: int | None = None  # when its contact closes
        self.closed = False

    def follow(self, tick: int, coil: bool) -> None:
        """Its coil is pulled, or not, at `tick`. The contact opens at once with the coil."""
        if coil and not self._coil:
            self.due = tick + self._ticks
        self._coil = coil
        if not coil:
            self.due, self.closed = None, False
        elif self.due is not None and self.due <= tick:
            self.due, self.closed = None, True
