"""A link's listener on a free loopback port, and the connections to it."""

import asyncio
import socket
import struct
from enum import Enum

from simulators.wire.delivery import End
from simulators.wire.link import Link, TcpAddress
from simulators.wire.mouth import Mouth

# Requests of one connection that wait for their answers; whoever sends more is not read on until some are answered.
MOST_WAITING, FEW_WAITING = 64, 16
MOST_UNREAD = 1 << 20  # bytes of answers that somebody does not read, until they are thrown out


class Door(Enum):
    """What happens to who comes in."""

    OPEN = "everybody is let in"
    DROPS = "everybody is let in and thrown out at once"
    ONE = "whoever comes while another is connected is thrown out"


class TcpListener:
    """Listens for a link on TCP. `door` says who is let in."""

    def __init__(self, link: Link) -> None:
        self.link = link
        self.door = Door.OPEN
        self.connections: set[Responder] = set()
        self._server: asyncio.Server | None = None
        self._opening: asyncio.Task[None] | None = None
        self._address = TcpAddress("127.0.0.1", 0)

    async def open(self) -> TcpAddress:
        """See Listener."""
        await self._serve_on(self._listening())
        return self._address

    def shut(self) -> None:
        """See Listener."""
        if self._server is not None:
            self._server.close()
            self._server = None
        self.drop_all()

    def reopen(self) -> None:
        """See Listener."""
        if self._server is None and self._opening is None:
            self._opening = asyncio.get_running_loop().create_task(self._serve_on(self._listening()))

    def drop_all(self) -> None:
        """See Listener."""
        for connection in list(self.connections):
            connection.end(End.RESET)

    async def close(self) -> None:
        """See Listener."""
        if self._opening is not None:
            await self._opening
        self.shut()
        await self.link.let_go()
        await asyncio.sleep(0)  # the aborted sockets close in the loop's next turn

    def _listening(self) -> socket.socket:
        """A listening socket at once: who comes before the loop serves it waits in its queue."""
        # Named by its number, TCP makes asyncio send small pieces at once, not in one with those before.
        listener = socket.socket(socket.AF_INET, socket.SOCK_STREAM, socket.IPPROTO_TCP)
        listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        listener.bind(self._address)
        listener.listen()
        self._address = TcpAddress(*listener.getsockname())
        return listener

    async def _serve_on(self, listener: socket.socket) -> None:
        self._server = await asyncio.get_running_loop().create_server(lambda: Responder(self), sock=listener)
        self._opening = None


class Responder(asyncio.Protocol):
    """One connection to a link. Requests are answered in the order in which they came."""

    def __init__(self, listener: TcpListener) -> None:
        self._listener = listener
        self._link = listener.link
        self._buffer = bytearray()
        self._closed = False
        self._transport: asyncio.Transport | None = None
        self._waiting: asyncio.Queue[bytes] = asyncio.Queue()
        self._worker: asyncio.Task[None] | None = None
        self._mouth = Mouth(self._link, self._put)

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        assert isinstance(transport, asyncio.Transport)
        self._transport = transport
        crowded = self._listener.door is Door.ONE and bool(self._listener.connections)
        if self._listener.door is Door.DROPS or crowded:
            self.end(End.RESET)
            return
        self._listener.connections.add(self)
        if self._link.pace.clock is None:
            self._worker = asyncio.get_running_loop().create_task(self._answer_at_pace())

    def connection_lost(self, error: Exception | None) -> None:
        self._mouth.shut()
        self._listener.connections.discard(self)
        if self._worker is not None:
            self._worker.cancel()

    def data_received(self, data: bytes) -> None:
        if self._closed:  # what comes for a connection that is closed is answered with a reset
            self.end(End.RESET)
            return
        self._buffer += data
        try:
            while (request := self._link.far_end.frames.take(self._buffer)) is not None:
                self._request(request)
        except ValueError:
            self.end(End.RESET)

    def end(self, how: End) -> None:
        """Reset the connection without a farewell, or close our side when all that was written has gone."""
        self._mouth.shut()
        if self._transport is None or self._transport.is_closing():
            return
        if how is End.CLOSE:
            self._closed = True
            self._transport.write_eof()
        else:
            self._listener.connections.discard(self)
            _reset(self._transport)
        self._link.silence()

    def _request(self, request: bytes) -> None:
        clock = self._link.pace.clock
        if clock is None:
            self._waiting.put_nowait(request)
            if self._waiting.qsize() >= MOST_WAITING and self._transport is not None:
                self._transport.pause_reading()
        else:
            self._mouth.say(clock, self._link.hear(request))

    async def _answer_at_pace(self) -> None:
        try:
            while True:
                request = await self._waiting.get()
                if self._waiting.qsize() == FEW_WAITING and self._transport is not None:
                    self._transport.resume_reading()
                async with self._link.busy:
                    await self._mouth.say_at_pace(self._link.hear(request))
        finally:
            self.end(End.RESET)

    def _put(self, what: bytes | End) -> None:
        if isinstance(what, End):
            self.end(what)
        elif self._transport is not None and not self._transport.is_closing():
            if self._transport.get_write_buffer_size() > MOST_UNREAD:
                self.end(End.RESET)
                return
            self._transport.write(what)


def _reset(transport: asyncio.Transport) -> None:
    """Close with RST, not FIN: what a device does that lost its power or its mind."""
    transport.get_extra_info("socket").setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))
    transport.abort()
