"""Keys that come alone, told from a scanner's burst by the time between them."""

from __future__ import annotations

from collections.abc import Callable

ALONE = 0.12  # s of quiet on both sides: a scanner's keys are 1 to 20 ms apart (common practice, no source)
ENTER = "\r"


class Keystrokes:
    """Collects printable keys. ``later`` calls a function after so many seconds; ``one`` is told of a key that came
    alone, ``burst`` of what a scanner has typed."""

    def __init__(
        self,
        later: Callable[[float, Callable[[], None]], object],
        one: Callable[[str], None],
        burst: Callable[[str], None],
    ) -> None:
        self._later, self._one, self._burst = later, one, burst
        self._held = ""
        self._spoilt = False
        self._turn = 0

    @property
    def busy(self) -> bool:
        """Whether keys have come that may be the beginning of a burst."""
        return bool(self._held)

    def take(self, character: str) -> None:
        """A printable key, or Enter."""
        self._held += character
        self._turn += 1
        mine = self._turn
        self._later(ALONE, lambda: self._quiet(mine))

    def drop(self) -> None:
        """What has come so far is for nobody, and neither is what follows before it is quiet."""
        self._spoilt = bool(self._held)

    def _quiet(self, turn: int) -> None:
        if turn != self._turn:
            return
        held, self._held = "" if self._spoilt else self._held.strip(ENTER), ""
        self._spoilt = False
        if len(held) == 1:
            self._one(held)
        elif held:
            self._burst(held)
