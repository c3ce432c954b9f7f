"""The communication watchdog of a relay board: without a word for its time, the board drops every coil by itself."""

from collections.abc import Callable
from math import inf

REGISTER = 16  # the holding register that keeps the time; 0 switches the watchdog off
COUNT = 0.1  # s: what one count of the register means


class BoardWatchdog:
    """Runs on the station's time. ``speed`` is that of the station's time over the wall's: a board that protects
    people counts the wall's seconds."""

    def __init__(self, drop: Callable[[], None], speed: float) -> None:
        self._drop, self._speed = drop, speed
        self._heard = 0.0
        self.counts = 0
        self.tripped = 0

    def heard(self, now: float) -> None:
        """Somebody has asked something of the board."""
        self._heard = now

    def due(self) -> float:
        """When it will trip, on the station's time; infinity while it is off."""
        return self._heard + self.counts * COUNT * self._speed if self.counts else inf

    def trip(self) -> None:
        """The time has passed. It trips again only after it was heard from again."""
        self._heard = inf
        self.tripped += 1
        self._drop()
