"""What another thread may do to a run: end it, pause it, have something done in its loop.

A run in the main thread hears signals by itself. One in another thread is told here, by whoever owns the main thread.
Every call returns at once, may come from any thread or from a signal handler, and may come before the run has begun:
what was asked then holds as soon as it begins.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass


@dataclass(frozen=True)
class Ending:
    """Why a run is to end, in words for the record, and the signal that asked for it, if one did."""

    why: str
    signal: int | None = None


class Control:
    """One run's. Without locks: each side writes its own fields before it reads the other's."""

    def __init__(self) -> None:
        self._ending: Ending | None = None
        self._loop: asyncio.AbstractEventLoop | None = None
        self._end: Callable[[Ending], None] = lambda ending: None
        self._pause: Callable[[], None] = lambda: None

    @property
    def ending(self) -> Ending | None:
        """The first end that was asked for."""
        return self._ending

    def end(self, why: str, signal: int | None = None) -> None:
        """Turn everything off and close the record."""
        if self._ending is None:
            self._ending = Ending(why, signal)
        self.call(self._told)

    def pause(self) -> None:
        """Turn everything off and ask before going on. Nothing where no run has begun."""
        self.call(lambda: self._pause())

    def call(self, what: Callable[[], object]) -> None:
        """Have something done in the run's loop; nothing where there is none."""
        loop = self._loop
        if loop is not None:
            with suppress(RuntimeError):  # the loop has just ended
                loop.call_soon_threadsafe(what)

    # the run's side

    def attach(self, end: Callable[[Ending], None], pause: Callable[[], None] = lambda: None) -> None:
        """The run that can be ended and paused so, in the running loop; may be called again as it comes further."""
        self._end, self._pause = end, pause
        self._loop = asyncio.get_running_loop()
        self._told()

    def _told(self) -> None:
        if self._ending is not None:
            self._end(self._ending)
