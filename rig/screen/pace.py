"""How fast time goes on a simulated bench: its clock is held back to a multiple of the wall's.

The clock stays in lockstep, so the numbers are the same at every pace, and on a busy machine. A participant of the
clock stays awake until the wall has caught up; meanwhile time stands still on the bench, and the loop is free for
whoever turns everything off."""

from __future__ import annotations

import asyncio
import time

from rig.bench.clock import Clock

STEP = 0.05  # s of wall time between two looks: as smooth as one can see
UNHELD = 0.5  # s of the bench's time between two looks whether it is to be held back


class Pace:
    """``speed`` is the bench's seconds to one on the wall, 0 for as fast as it goes; it may change at any time, from
    any thread. ``let_go`` ends the holding back for good: what turns everything off must not wait."""

    def __init__(self, speed: float) -> None:
        self.speed = speed
        self._over = False

    def let_go(self) -> None:
        """Hold nothing back any more."""
        self._over = True

    async def keep(self, clock: Clock) -> None:
        """A participant of the clock, until ``let_go``."""
        caught_up = time.monotonic()
        while not self._over:
            speed = self.speed
            step = STEP * speed if speed > 0 else UNHELD
            await clock.sleep(step)
            if speed > 0:
                # never more than one step to catch up: after a question time does not run
                caught_up = max(caught_up + STEP, time.monotonic() - STEP)
                while not self._over and (early := caught_up - time.monotonic()) > 0:
                    await asyncio.sleep(min(early, STEP))
