"""The clock that a run lives by.

Whoever works on a run is a *participant*: the engine itself and each task it spawns. On the wall clock participants
are ordinary asyncio tasks. A simulated station may bring its own clock, on which time stands still while bytes are
on the wire and jumps when everybody sleeps; the same program then gives the same numbers every time.
"""

from __future__ import annotations

import asyncio
import time
from collections.abc import Awaitable, Callable, Coroutine
from typing import Any, Protocol, TypeVar

T = TypeVar("T")


class Clock(Protocol):
    """What the engine, the buses and the samplers need of time. Nobody waits outside it."""

    def now(self) -> float:
        """Seconds since some fixed moment; never goes back."""

    async def sleep(self, seconds: float) -> None:
        """Wait."""

    async def sleep_until(self, when: float) -> None:
        """Wait until ``when``; returns at once when it has passed."""

    def spawn(self, work: Coroutine[Any, Any, T], name: str) -> asyncio.Task[T]:
        """Start another participant."""

    async def join(self, task: asyncio.Task[T]) -> T:
        """Wait for a participant's end; its result or its error."""

    async def cancel(self, task: asyncio.Task[Any]) -> None:
        """Cancel a participant and wait for its end."""

    async def exchange(self, link: str, ask: Callable[[], Awaitable[T]], timeout: float) -> T:
        """One question and its answer on a link, one at a time. Raises TimeoutError after ``timeout`` seconds."""


class WallClock:
    """Real time, monotonic. ``speed`` is above 1 only for a simulated station that runs faster than the wall."""

    def __init__(self, speed: float = 1.0) -> None:
        self._speed = speed
        self._zero = time.monotonic()
        self._links: dict[str, asyncio.Lock] = {}

    def now(self) -> float:
        return (time.monotonic() - self._zero) * self._speed

    async def sleep(self, seconds: float) -> None:
        await asyncio.sleep(max(0.0, seconds) / self._speed)

    async def sleep_until(self, when: float) -> None:
        await self.sleep(when - self.now())

    def spawn(self, work: Coroutine[Any, Any, T], name: str) -> asyncio.Task[T]:
        return asyncio.get_running_loop().create_task(work, name=name)

    async def join(self, task: asyncio.Task[T]) -> T:
        try:
            return await asyncio.shield(task)
        except asyncio.CancelledError:
            if task.cancelled() or task.done():
                raise
            task.cancel()  # the waiter was cancelled: nothing that it started may outlive it
            await asyncio.gather(task, return_exceptions=True)
            raise

    async def cancel(self, task: asyncio.Task[Any]) -> None:
        task.cancel()
        done = await asyncio.gather(task, return_exceptions=True)
        if isinstance(done[0], BaseException) and not isinstance(done[0], asyncio.CancelledError):
            raise done[0]

    async def exchange(self, link: str, ask: Callable[[], Awaitable[T]], timeout: float) -> T:
        async with self._links.setdefault(link, asyncio.Lock()):
            async with asyncio.timeout(timeout):
                return await ask()
