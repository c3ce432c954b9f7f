"""A clock on which simulated time moves only when everybody waits.

The rules, all of them:

1. A *participant* is whoever lives by this clock: the creator is the first, `spawn` starts more. One baton:
   a participant is awake or asleep, and normally exactly one is awake. Waiting for anything that is not the
   clock (bytes on a wire, a file, a prompt) counts as awake, so time stands still meanwhile.
2. `sleep`, `sleep_until` and `join` give the baton up. It goes to the earliest sleeper, ties in the order in
   which they fell asleep, and the time becomes the one that this sleeper asked for.
3. A task that `spawn` started waits for the baton at the present time before its first line. When it ends,
   those who join it are queued at that time, and the baton goes on.
4. `cancel` queues the task at the present time and cancels it when the baton reaches it, so that its
   clean-up runs awake and in order. A sleeper cancelled from outside (`task.cancel()`, a signal) leaves the
   queue and is awake at once, beside whoever else is: the baton then moves when all of them wait.
5. A link carries one exchange at a time, first come first served, in simulated time: the first in line has it
   from the time at which it is free until its exchange is over, asleep or awake, and the next one wakes then.
   The far end says what an exchange costs (`declare_cost`) while it answers; the asker sleeps that cost
   afterwards. An answer that will not come is declared too (`declare_silence`). A cost beyond the asker's time
   limit ends in TimeoutError at that limit; the far end stays busy until its cost is over, and the next exchange
   pays what is left of it by then. So it does for what was only written. `on_wire` tells the far end how long the
   asker waits, so that it can hold bytes until they are due.
6. If nobody is awake and nobody can wake, everyone who waits gets a `LockstepDeadlock` that names them all.

Nothing here touches a thread: a library's blocking thread reports to the loop and never sees the clock.
"""

import asyncio
import heapq
import math
from collections import deque
from collections.abc import Awaitable, Callable, Coroutine
from functools import partial
from itertools import count
from typing import Any, NamedTuple, TypeVar

T = TypeVar("T")

# Wall seconds after which an exchange that nobody declared silent is given up: a simulated far end answers
# within milliseconds, so only one that is really gone takes as long. They pass in so many steps, each after a turn of
# the loop: a machine that stands still for a while, or works long at an answer, takes up one of them, not all.
WALL_GUARD_SECONDS = 10.0
GUARD_STEPS = 20

# A sleeper that nobody can come before need not leave the loop; but every so often it does, so that a run of
# nothing but sleeps can still be stopped by a signal. Exchanges leave the loop anyhow.
LOOP_TURN_EVERY = 16


# A grace passes in so many steps: a machine that stands still for a while takes up one of them, not all.
GRACE_STEPS = 5


class LockstepDeadlock(RuntimeError):
    """Nobody is awake and nobody can wake; the message names every waiter and what it waits for."""


class _Waiter(asyncio.Future[None]):
    """A participant that has given the baton up; done when it has the baton again. It waits for something, told in
    words, or for a time (s of this clock)."""

    __slots__ = ("_wake", "awake", "for_", "task", "to_cancel")

    def __init__(self, task: asyncio.Task[Any] | None, for_: str | float, wake: Callable[["_Waiter"], None]) -> None:
        super().__init__(loop=asyncio.get_running_loop())
        self.task = task
        self.for_ = for_
        self.awake = False
        self.to_cancel = False  # `LockstepClock.cancel` asked for it; done when the baton comes
        self._wake = wake

    def cancel(self, msg: Any | None = None) -> bool:
        """The task is being cancelled, past the clock if it is still asleep: then it is awake from now on."""
        cancelled = super().cancel(msg)
        if cancelled and not self.awake:
            self._wake(self)
        return cancelled


class OnWire(NamedTuple):
    """What a far end may know of the exchange on its link: seconds declared so far, and the asker's limit."""

    declared: float
    limit: float  # infinite when nobody is asking


class _Ticket:
    """A place in a line, and who waits for it to be the first."""

    __slots__ = ("waiter",)

    def __init__(self) -> None:
        self.waiter: _Waiter | None = None


class _Link:
    """A wire: when it is free, who stands in line, and the exchange that is on it."""

    __slots__ = ("asked_at", "asker", "busy_until", "cost", "free_at", "given_up", "guarded", "limit", "line", "looks")

    def __init__(self) -> None:
        self.free_at = 0.0
        self.busy_until = 0.0  # the far end works on what it was told, whether somebody still waits or not
        self.limit = math.inf
        self.line: deque[_Ticket] = deque()
        self.cost = 0.0
        self.asker: asyncio.Task[Any] | None = None  # whose exchange is on it, since `asked_at` of the loop's time
        self.asked_at = 0.0
        self.given_up = False
        self.guarded = False  # a look at the wall's time is due
        self.looks = 0  # of them, at this exchange


class LockstepClock:
    """Simulated seconds from 0. The rules are in the module's docstring."""

    def __init__(self) -> None:
        self._now = 0.0
        self._awake = 1
        self._sequence = count()
        self._queue: list[tuple[float, int, _Waiter]] = []
        self._waiting: dict[asyncio.Task[Any] | None, _Waiter] = {}
        self._joiners: dict[asyncio.Task[Any], list[_Waiter]] = {}
        self._links: dict[str, _Link] = {}
        self._straight_back = 0

    def now(self) -> float:
        """Seconds since the station started."""
        return self._now

    async def sleep(self, seconds: float) -> None:
        """Give the baton up for so long. 0 or less lets those run who are due now.

        Raises ValueError for a time that is not finite, LockstepDeadlock by rule 6.
        """
        await self.sleep_until(self._now + seconds)

    async def sleep_until(self, when: float) -> None:
        """Give the baton up until `when` (seconds on this clock). Raises as `sleep`."""
        if not math.isfinite(when):
            raise ValueError(f"cannot sleep until {when}")
        if self._awake == 1 and when > self._now and not (self._queue and self._queue[0][0] <= when):
            # Nobody else can wake before: the baton comes straight back. Signals and sockets still get their turn.
            self._now = when
            self._straight_back += 1
            if self._straight_back % LOOP_TURN_EVERY == 0:
                await asyncio.sleep(0)
            return
        waiter = _Waiter(asyncio.current_task(), when, self._wake)
        self._enqueue(waiter, max(when, self._now))
        await self._give_up_baton(waiter)

    def spawn(self, work: Coroutine[Any, Any, T], name: str) -> asyncio.Task[T]:
        """Start another participant; it waits for the baton at the present time before its first line."""
        turn = _Waiter(None, "its first turn", self._wake)
        task = asyncio.get_running_loop().create_task(self._take_part(turn, work), name=name)
        turn.task = task
        self._joiners[task] = []
        task.add_done_callback(partial(self._ended, work))
        self._enqueue(turn, self._now)
        return task

    async def join(self, task: asyncio.Task[T]) -> T:
        """Wait for a spawned task; wakes at the simulated time at which it ended.

        Raises what the task raised (CancelledError if it was cancelled), ValueError if this clock did not
        spawn it.
        """
        await self._until_ended(task)
        return task.result()

    async def cancel(self, task: asyncio.Task[Any]) -> None:
        """Cancel a spawned task and wait until its clean-up is over; harmless if it has ended.

        Raises what the task raised other than its own CancelledError.
        """
        if not task.done():
            waiter = self._waiting.get(task)
            if waiter is None:
                task.cancel()
            else:
                waiter.to_cancel = True
                self._enqueue(waiter, self._now)
        await self._until_ended(task)
        if not task.cancelled() and (error := task.exception()) is not None:
            raise error

    async def exchange(self, link: str, ask: Callable[[], Awaitable[T]], timeout: float) -> T:
        """Run one question and answer on a link: rule 5.

        `timeout` (simulated seconds) is slept before TimeoutError is raised when the far end declared that
        it stays silent or takes longer, when `ask` itself timed out, or when no answer came in
        WALL_GUARD_SECONDS. What else `ask` raises is raised at once.
        """
        wire = self._link(link)
        ticket = _Ticket()
        wire.line.append(ticket)
        try:
            if wire.line[0] is not ticket:
                await self._stand_in_line(ticket, link)
            while wire.free_at > self._now:
                await self.sleep_until(wire.free_at)
            try:
                answer = await self._ask(wire, ask, timeout)
            except TimeoutError as error:
                wire.free_at = self._now + timeout
                await self.sleep_until(wire.free_at)
                raise TimeoutError(f"no answer on {link} within {timeout:g} s") from error
            wire.free_at = self._now + wire.cost
            await self.sleep_until(wire.free_at)
            return answer
        finally:
            wire.line.remove(ticket)
            if wire.line:
                self._call_up(wire.line[0])

    async def _stand_in_line(self, ticket: _Ticket, link: str) -> None:
        """Wait until whoever is before has left, however long that is: an asker may sleep with the line in its hand."""
        ticket.waiter = waiter = _Waiter(asyncio.current_task(), f"its turn on {link}", self._wake)
        self._waiting[waiter.task] = waiter
        await self._give_up_baton(waiter)

    def _call_up(self, ticket: _Ticket) -> None:
        """The front of a line has left: the next one wakes now, unless it does already."""
        waiter, ticket.waiter = ticket.waiter, None
        if waiter is not None and not waiter.awake:
            self._enqueue(waiter, self._now)

    def _link(self, name: str) -> _Link:
        wire = self._links.get(name)
        if wire is None:
            wire = self._links[name] = _Link()
        return wire

    def on_wire(self, link: str) -> OnWire:
        """What the far end may know of the exchange now on this link."""
        wire = self._link(link)
        left = max(0.0, wire.busy_until - self._now)
        return OnWire(left if wire.asker is None else wire.cost, wire.limit)

    def declare_cost(self, link: str, seconds: float) -> None:
        """The far end says that the exchange now on this link takes so many seconds (they add up)."""
        wire = self._link(link)
        if wire.asker is None:
            wire.busy_until = max(wire.busy_until, self._now) + seconds
            return
        wire.cost += seconds
        if wire.cost > wire.limit:
            _give_up(wire)

    def declare_silence(self, link: str, grace: float = 0.0) -> None:
        """The far end says that the exchange now on this link gets no answer.

        `grace` (wall seconds) leaves the asker time to take bytes that it may or may not hold for its answer.
        """
        wire = self._link(link)
        if grace > 0.0:
            _give_up_later(wire, (wire.asker, wire.asked_at), grace / GRACE_STEPS, GRACE_STEPS)
        else:
            _give_up(wire)

    async def _ask(self, wire: _Link, ask: Callable[[], Awaitable[T]], limit: float) -> T:
        # What asyncio.timeout does, with one timer for many exchanges: making one each costs more than its answer.
        task = asyncio.current_task()
        cancelled_before = 0 if task is None else task.cancelling()
        wire.asker, wire.given_up, wire.limit = task, False, limit
        wire.cost = max(0.0, wire.busy_until - self._now)
        self._straight_back = 0
        loop = asyncio.get_running_loop()
        wire.asked_at = loop.time()
        wire.looks = 0
        if not wire.guarded:
            wire.guarded = True
            loop.call_later(WALL_GUARD_SECONDS / GUARD_STEPS, self._look_at_wall, wire)
        try:
            answer = await ask()
            if wire.given_up:
                await asyncio.sleep(0)  # it was given up in its last moment, and the cancellation is still to come
                if task is not None:
                    task.uncancel()  # or a library has swallowed it
            if wire.cost > limit:
                raise TimeoutError
            return answer
        except asyncio.CancelledError:
            if wire.given_up and task is not None and task.uncancel() <= cancelled_before:
                raise TimeoutError from None
            raise
        finally:
            wire.asker, wire.limit = None, math.inf
            wire.busy_until = self._now + wire.cost

    def _look_at_wall(self, wire: _Link) -> None:
        wire.guarded = wire.asker is not None
        if wire.asker is None:
            return
        wire.looks += 1
        if wire.looks > GUARD_STEPS:
            _give_up(wire)
        else:
            asyncio.get_running_loop().call_later(WALL_GUARD_SECONDS / GUARD_STEPS, self._look_at_wall, wire)

    async def _take_part(self, turn: _Waiter, work: Coroutine[Any, Any, T]) -> T:
        await turn
        return await work

    def _ended(self, work: Coroutine[Any, Any, Any], task: asyncio.Task[Any]) -> None:
        work.close()  # it never began if the task was cancelled before its first turn
        turn = self._waiting.pop(task, None)
        if turn is None:
            self._awake -= 1
        else:
            turn.awake = True  # cancelled before its first line: drop it from the queue
        for waiter in self._joiners.pop(task):
            if not waiter.awake:  # else it was cancelled while it waited
                self._enqueue(waiter, self._now)
        self._hand_over()

    async def _until_ended(self, task: asyncio.Task[Any]) -> None:
        if (joiners := self._joiners.get(task)) is None:
            if task.done():
                return
            raise ValueError(f"{task.get_name()} was not spawned by this clock")
        waiter = _Waiter(asyncio.current_task(), f"the end of {task.get_name()}", self._wake)
        joiners.append(waiter)
        self._waiting[waiter.task] = waiter
        await self._give_up_baton(waiter)

    def _enqueue(self, waiter: _Waiter, when: float) -> None:
        self._waiting[waiter.task] = waiter
        heapq.heappush(self._queue, (when, next(self._sequence), waiter))

    async def _give_up_baton(self, waiter: _Waiter) -> None:
        self._awake -= 1
        self._hand_over()
        if waiter.awake:  # it came straight back: let signals and sockets have the loop for one turn
            await asyncio.sleep(0)
        await waiter

    def _wake(self, waiter: _Waiter) -> None:
        waiter.awake = True  # what is still in the queue for it is skipped
        self._awake += 1
        del self._waiting[waiter.task]

    def _hand_over(self) -> None:
        while self._queue and not self._awake:
            when, _, waiter = heapq.heappop(self._queue)
            if waiter.awake:
                continue
            self._wake(waiter)
            self._now = max(self._now, when)
            if waiter.to_cancel and waiter.task is not None:
                waiter.task.cancel()
            else:
                waiter.set_result(None)
        if self._waiting and not self._awake:
            self._give_up_all()

    def _give_up_all(self) -> None:
        waiters = list(self._waiting.values())
        names = [f"{_name(waiter.task)} waits for {_told(waiter.for_)}" for waiter in waiters]
        for waiter in waiters:
            self._wake(waiter)
            waiter.set_exception(LockstepDeadlock(f"nobody can wake: {'; '.join(names)}"))


def _told(for_: str | float) -> str:
    return for_ if isinstance(for_, str) else f"{for_:.6f} s"


def _give_up(wire: _Link) -> None:
    if wire.asker is not None and not wire.given_up:
        wire.given_up = True
        wire.asker.cancel()


def _give_up_later(wire: _Link, exchange: tuple[asyncio.Task[Any] | None, float], step: float, steps: int) -> None:
    if (wire.asker, wire.asked_at) != exchange:
        return  # that exchange is over
    if steps == 0:
        _give_up(wire)
        return
    asyncio.get_running_loop().call_later(step, _give_up_later, wire, exchange, step, steps - 1)


def _name(task: asyncio.Task[Any] | None) -> str:
    return "a task" if task is None else task.get_name()
