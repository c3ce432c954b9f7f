"""What all simulated wires share: listeners on the loopback, and when an answer leaves.

A *far end* (relay boards, meter, person) only turns a request into an `Answer`; it knows bytes and the plant,
neither sockets nor clocks. A `Link` gives it a listener. In lockstep the answer leaves at once, at frozen
time, and its cost is declared to the clock; at real pace the link is busy for that cost before it leaves.
"""

import asyncio
import socket
from collections.abc import Callable, Sequence
from typing import NamedTuple, Protocol

from simulators.clock import LockstepClock


class Plant(Protocol):
    """What the wires need of the unit in its fixture. True values, no instruments' errors."""

    def advance(self, now: float) -> None: ...
    def set_coil(self, board: int, channel: int, on: bool) -> None: ...
    def coils(self, board: int) -> list[bool]: ...
    def inputs(self) -> list[bool]: ...
    def quantity(self, channel: int) -> float: ...
    def meter_sees(self, function: str) -> float: ...
    def meter_waveform(self, start: float, interval: float, count: int) -> list[float]: ...
    def person(
        self, verb: str, thing: str, kind: str, options: Sequence[str], unit: str
    ) -> tuple[bool | str | float | None, float]: ...


LONGEST_LINE = 65536  # bytes; more without an end of line is not a request


class Answer(NamedTuple):
    """What goes back for one request."""

    data: bytes | None  # None: nothing is sent
    seconds: float = 0.0  # how long the exchange takes
    silent: bool = False  # somebody waits for an answer and gets none


class FarEnd(Protocol):
    """The device, or the person, at the other end of a wire."""

    def take(self, buffer: bytearray) -> bytes | None:
        """Remove the first whole request from the buffer; None when it is not all there yet.

        Raises ValueError for bytes that can never become a request: the connection is dropped.
        """

    def serve(self, request: bytes, now: float) -> Answer:
        """Act on a request at `now` (seconds of the station's time)."""


class Pace(NamedTuple):
    """How the station's time runs: a lockstep clock, or the wall's time (times a speed)."""

    now: Callable[[], float]
    clock: LockstepClock | None
    speed: float = 1.0


class Link:
    """A listener on a free loopback port, the far end behind it, and the connections to it."""

    def __init__(
        self,
        name: str,
        far_end: FarEnd,
        pace: Pace,
        counts: dict[str, int],
        longest_wait: float = float("inf"),
    ) -> None:
        self.name = name
        self.far_end = far_end
        self.pace = pace
        self.busy = asyncio.Lock()  # at real pace: one exchange at a time, whatever the number of connections
        self.connections: set[Responder] = set()
        self._counts = counts
        self._longest_wait = longest_wait  # wall seconds
        self._server: asyncio.Server | None = None

    async def open(self) -> tuple[str, int]:
        """Listen; returns host and port."""
        loop = asyncio.get_running_loop()
        self._server = await loop.create_server(
            lambda: Responder(self), "127.0.0.1", 0, family=socket.AF_INET
        )
        host, port = self._server.sockets[0].getsockname()
        return host, port

    async def close(self) -> None:
        """Stop listening and abort what is connected. Safe to call twice."""
        if self._server is not None:
            self._server.close()
            self._server = None
        for connection in list(self.connections):
            connection.abort()
        await asyncio.sleep(0)  # the aborted sockets close in the loop's next turn

    def serve(self, request: bytes) -> Answer:
        """Count the request and let the far end act on it."""
        self._counts[self.name] += 1
        return self.far_end.serve(request, self.pace.now())

    def declare(self, clock: LockstepClock, answer: Answer) -> None:
        """Tell the lockstep clock what this answer means for the exchange on this link."""
        clock.declare_cost(self.name, answer.seconds)
        if answer.silent:
            clock.declare_silence(self.name)

    def wall_seconds(self, answer: Answer) -> float:
        """How long the answer is held back at real pace."""
        return min(answer.seconds / self.pace.speed, self._longest_wait)


class Responder(asyncio.Protocol):
    """One connection to a link. Requests are answered in the order in which they came."""

    def __init__(self, link: Link) -> None:
        self._link = link
        self._buffer = bytearray()
        self._transport: asyncio.Transport | None = None
        self._waiting: asyncio.Queue[bytes] = asyncio.Queue()
        self._worker: asyncio.Task[None] | None = None

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        assert isinstance(transport, asyncio.Transport)
        self._transport = transport
        self._link.connections.add(self)
        if self._link.pace.clock is None:
            self._worker = asyncio.get_running_loop().create_task(self._answer_at_pace())

    def connection_lost(self, error: Exception | None) -> None:
        self._link.connections.discard(self)
        if self._worker is not None:
            self._worker.cancel()

    def data_received(self, data: bytes) -> None:
        self._buffer += data
        try:
            while (request := self._link.far_end.take(self._buffer)) is not None:
                self._request(request)
        except ValueError:
            self.abort()

    def abort(self) -> None:
        """Drop the connection without a farewell."""
        if self._transport is not None:
            self._transport.abort()

    def _request(self, request: bytes) -> None:
        clock = self._link.pace.clock
        if clock is None:
            self._waiting.put_nowait(request)
            return
        answer = self._link.serve(request)
        self._link.declare(clock, answer)
        self._send(answer)

    async def _answer_at_pace(self) -> None:
        try:
            while True:
                request = await self._waiting.get()
                async with self._link.busy:
                    answer = self._link.serve(request)
                    await asyncio.sleep(self._link.wall_seconds(answer))
                self._send(answer)
        finally:
            self.abort()

    def _send(self, answer: Answer) -> None:
        if answer.data is not None and self._transport is not None and not self._transport.is_closing():
            self._transport.write(answer.data)


def take_line(buffer: bytearray) -> bytes | None:
    """Remove the first line (without its end) from the buffer; ValueError when it grows beyond all sense."""
    end = buffer.find(b"\n")
    if end < 0:
        if len(buffer) > LONGEST_LINE:
            raise ValueError("a line without an end")
        return None
    line = bytes(buffer[:end])
    del buffer[: end + 1]
    return line
