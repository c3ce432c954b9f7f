"""When the bytes of one connection leave.

In lockstep the bytes of an answer leave at once, at frozen time, and their cost is declared to the clock; what
arrives only after the asker has given up is held until then, or until the next answer, whose time it would
come before. At real pace the device is busy for the cost of an exchange and every piece leaves when it is due.
"""

import asyncio
from collections.abc import Callable
from heapq import heappop, heappush
from itertools import count
from math import inf

from simulators.clock import LockstepClock
from simulators.wire.delivery import End
from simulators.wire.link import GRACE, Heard, Link


class Mouth:
    """What leaves on one connection: bytes in the order in which they are due."""

    def __init__(
        self, link: Link, put: Callable[[bytes | End], None], across: Callable[[], None] | None = None
    ) -> None:
        self._link = link
        self._put = put
        self._across = across  # returns when bytes that were put have reached the other end
        self._held: list[tuple[float, int, str, bytes | End]] = []
        self._order = count()
        self._ready = bytearray()  # let out in this turn
        self._shut = False
        self._lied = False  # something here was not as it should be: whether an answer is taken for one is in doubt

    def shut(self) -> None:
        """The connection is gone, and what was still to come with it."""
        self._shut = True
        self._held.clear()
        self._ready.clear()

    def say(self, clock: LockstepClock, heard: Heard) -> None:
        """Lockstep: let out what the asker is still there for, hold the rest until it is due."""
        declared, limit = clock.on_wire(self._link.name)
        now, patience, delivery = clock.now() + declared, limit - declared, heard.delivery
        done = delivery.done if delivery.done is not None and delivery.done <= patience else None
        self._lied = self._lied or not delivery.honest
        if not self._lied and done is not None:  # almost always, so it is done without ado
            for piece in delivery.pieces:
                self._let_out(now + piece.after, heard.instrument, piece.what)
            self._flush()
            clock.declare_cost(self._link.name, done)
            return
        until = now + (patience if done is None else done)
        stale = [now if due == inf else due for due, *_ in self._held if due <= until or due == inf]
        self._release_overdue()
        for piece in delivery.pieces:
            heappush(self._held, (now + piece.after, next(self._order), heard.instrument, piece.what))
        self._release(until)
        if self._flush() and self._across is not None:
            self._across()  # so that the grace is all the asker's own
        if done is not None:
            clock.declare_cost(self._link.name, done)
            clock.declare_silence(self._link.name, GRACE)
        elif stale:  # old bytes may be taken for the answer that does not come
            clock.declare_cost(self._link.name, max(stale) - now)
            clock.declare_silence(self._link.name, GRACE)
        else:
            clock.declare_cost(self._link.name, delivery.busy)
            clock.declare_silence(self._link.name)
        for due in sorted({now + piece.after for piece in delivery.pieces}):
            if until < due < inf:
                self._send_courier(clock, due)

    async def say_at_pace(self, heard: Heard) -> None:
        """Real pace: the pieces leave as they are due; returns when the device is free again."""
        loop, delivery = asyncio.get_running_loop(), heard.delivery
        began = loop.time()
        self._release_overdue()
        for piece in delivery.pieces:
            if piece.after == inf:
                heappush(self._held, (inf, next(self._order), heard.instrument, piece.what))
                continue
            due = began + self._link.wall_seconds(piece.after)
            if piece.after <= delivery.busy:
                await asyncio.sleep(due - loop.time())
                self._let_out_now(heard.instrument, piece.what)
            else:
                loop.call_at(due, self._let_out_now, heard.instrument, piece.what)
        self._flush()
        await asyncio.sleep(began + self._link.wall_seconds(delivery.busy) - loop.time())

    def _let_out_now(self, instrument: str, what: bytes | End) -> None:
        self._let_out(inf, instrument, what)
        self._flush()

    def _release(self, until: float) -> None:
        while self._held and self._held[0][0] <= until and self._held[0][0] < inf:
            due, _, instrument, what = heappop(self._held)
            self._let_out(due, instrument, what)

    def _release_overdue(self) -> None:
        """What was held back for the next question leaves, because that has come."""
        overdue = sorted(entry for entry in self._held if entry[0] == inf)
        for entry in overdue:
            self._held.remove(entry)
            self._let_out(inf, *entry[2:])

    def _let_out(self, due: float, instrument: str, what: bytes | End) -> None:
        if self._shut:
            return
        link = self._link
        if link.log is not None:
            link.log.said(link.name, instrument, what, link.far_end.frames, link.pace.now() if due == inf else due)
        if isinstance(what, End):
            self._flush()
            self._put(what)
        else:
            self._ready += what

    def _flush(self) -> bool:
        """What leaves together goes in one piece: how much of it the other end sees at once is no accident. Whether
        anything left."""
        if not self._ready:
            return False
        data, self._ready = bytes(self._ready), bytearray()
        self._put(data)
        return True

    def _send_courier(self, clock: LockstepClock, due: float) -> None:
        courier = clock.spawn(self._carry(clock, due), f"late bytes on {self._link.name}")
        self._link.couriers.add(courier)
        courier.add_done_callback(self._link.couriers.discard)

    async def _carry(self, clock: LockstepClock, due: float) -> None:
        await clock.sleep_until(due)
        self._release(clock.now())
        self._flush()
        if self._across is not None:
            self._across()
        for _ in range(3):  # the one they are for, in the same loop, has them before time goes on
            await asyncio.sleep(0)
