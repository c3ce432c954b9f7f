"""A link's listener on a pseudo-terminal, and the time that characters take on a serial line.

Modbus over Serial Line V1.02, 2.5.1.1: a character of RTU has 11 bits (start, 8 data, parity, stop, or two stops
without parity); frames are kept apart by 3.5 characters of silence, above 19,200 baud by 1.750 ms.
"""

import asyncio
import os
import select
import tty
from dataclasses import dataclass, replace
from math import inf

from simulators.wire.delivery import Delivery, End, Piece
from simulators.wire.frames import RtuFrames
from simulators.wire.link import Link, SerialAddress
from simulators.wire.mouth import Mouth

FASTEST_BY_CHARACTERS = 19_200  # baud; above it the gap is a fixed time
FIXED_GAP = 1.75e-3  # s
GAP_CHARACTERS = 3.5
# Wall seconds of silence after which leftovers are no longer waited for: a pseudo-terminal hands over what was
# written in one go, so only a sender that stopped half-way takes as long.
SILENCE = 0.02
CHUNK_SECONDS = 1e-3  # at real pace characters leave in handfuls: no timer is finer
READ_AT_ONCE = 4096
# Wall seconds for the kernel to carry bytes across; it takes microseconds, unless the machine is very busy. Whoever
# speaks Modbus here reads in this very thread, and finds them afterwards; others may have taken them already.
DELIVERED_WITHIN = {True: 2.0, False: 0.02}  # by whether silence ends a frame


@dataclass(frozen=True)
class Line:
    """How a serial line is set. `character` is data bits, parity and stop bits, such as "8E1"."""

    baud: int
    character: str
    framed: bool  # silence ends a frame (Modbus RTU); else an end of line does

    @property
    def character_seconds(self) -> float:
        """One character: a start bit, then what `character` says."""
        bits = 1 + int(self.character[0]) + (self.character[1] != "N") + int(self.character[2])
        return bits / self.baud

    @property
    def gap(self) -> float:
        """Seconds of silence that end a frame."""
        if not self.framed:
            return 0.0
        return FIXED_GAP if self.baud > FASTEST_BY_CHARACTERS else GAP_CHARACTERS * self.character_seconds


# No parity and two stop bits, because a pseudo-terminal refuses to be set to parity.
MODBUS_LINE = Line(19_200, "8N2", framed=True)
SCPI_LINE = Line(115_200, "8N1", framed=False)
SCALE_LINE = Line(9_600, "8N1", framed=False)


class SerialListener:
    """Listens for a link on a new pseudo-terminal. The instruments' ends stay plugged in until it is shut."""

    def __init__(self, link: Link, line: Line) -> None:
        self.link = link
        self.line = line
        self._ends: tuple[int, int] | None = None  # ours, and the other one, kept open so that ours stays usable
        self._buffer = bytearray()
        self._unsent = bytearray()
        self._mouth = Mouth(link, self._put, self._wait_until_across)
        self._waiting: asyncio.Queue[bytes] = asyncio.Queue()
        self._worker: asyncio.Task[None] | None = None
        self._silence: asyncio.TimerHandle | None = None
        link.timed = self.timed

    async def open(self) -> SerialAddress:
        """See Listener."""
        ours, theirs = os.openpty()
        tty.setraw(theirs)
        os.set_blocking(ours, False)
        self._ends = ours, theirs
        asyncio.get_running_loop().add_reader(ours, self._readable)
        if self.link.pace.clock is None:
            self._worker = asyncio.get_running_loop().create_task(self._answer_at_pace())
        return SerialAddress(os.ttyname(theirs), self.line.baud, self.line.character)

    def shut(self) -> None:
        """See Listener: whoever has the line open sees it hang up."""
        ends, self._ends = self._ends, None
        self._mouth.shut()
        if self._worker is not None:
            self._worker.cancel()
        if self._silence is not None:
            self._silence.cancel()
        if ends is not None:
            asyncio.get_running_loop().remove_reader(ends[0])
            asyncio.get_running_loop().remove_writer(ends[0])
            for end in ends:
                os.close(end)
            self.link.silence()

    def reopen(self) -> None:
        """Never: a pseudo-terminal that is gone is gone. Raises ValueError."""
        raise ValueError(f"the serial line of {self.link.name} cannot be plugged in again")

    def drop_all(self) -> None:
        """A serial line has no connections; what was under way is lost."""
        self._buffer.clear()
        self._unsent.clear()

    async def close(self) -> None:
        """See Listener."""
        self.shut()
        await self.link.let_go()

    def timed(self, request: bytes, delivery: Delivery) -> Delivery:
        """Add what the request, the gaps and the answer's characters take on this line."""
        line = self.line
        sent = len(request) + (not line.framed)  # the end of a line was cut off
        began = sent * line.character_seconds + line.gap
        free, done, pieces = began, began + (delivery.done or 0.0), []
        for piece in delivery.pieces:
            if piece.after == inf or isinstance(piece.what, End):
                pieces.append(piece)
                continue
            starts = max(free, began + piece.after)
            free = starts + len(piece.what) * line.character_seconds
            pieces += self._paced(starts, piece.what)
            if delivery.done is not None and piece.after <= delivery.done:
                done = max(done, free)
        busy = max(began + delivery.busy, free) + line.gap
        return replace(
            delivery, pieces=tuple(pieces), done=None if delivery.done is None else done + line.gap, busy=busy
        )

    def _paced(self, starts: float, data: bytes) -> list[Piece]:
        """Pieces with the times at which their last characters have arrived."""
        character = self.line.character_seconds
        size = len(data) if self.link.pace.clock is not None else max(1, int(CHUNK_SECONDS / character))
        cuts = range(0, len(data), max(1, size))
        return [Piece(starts + min(cut + size, len(data)) * character, data[cut : cut + size]) for cut in cuts]

    def _readable(self) -> None:
        assert self._ends is not None
        try:
            self._buffer += os.read(self._ends[0], READ_AT_ONCE)
        except BlockingIOError:
            return
        self._take()
        if self._silence is not None:
            self._silence.cancel()
            self._silence = None
        if self._buffer and isinstance(self.link.far_end.frames, RtuFrames):
            self._silence = asyncio.get_running_loop().call_later(SILENCE, self._fell_silent)

    def _take(self) -> None:
        try:
            while (request := self.link.far_end.frames.take(self._buffer)) is not None:
                self._request(request)
        except ValueError:
            self._buffer.clear()
            self.link.silence()

    def _fell_silent(self) -> None:
        frames = self.link.far_end.frames
        assert isinstance(frames, RtuFrames)
        request = frames.take_rest(self._buffer)
        if request is None:
            self.link.silence()
        else:
            self._request(request)

    def _request(self, request: bytes) -> None:
        clock = self.link.pace.clock
        if clock is None:
            self._waiting.put_nowait(request)
        else:
            self._mouth.say(clock, self.link.hear(request))

    async def _answer_at_pace(self) -> None:
        while True:
            request = await self._waiting.get()
            async with self.link.busy:
                await self._mouth.say_at_pace(self.link.hear(request))

    def _put(self, what: bytes | End) -> None:
        if isinstance(what, End) or self._ends is None:
            return
        self._unsent += what
        self._write()

    def _write(self) -> None:
        if self._ends is None:
            return
        loop = asyncio.get_running_loop()
        try:
            while self._unsent:
                sent = os.write(self._ends[0], self._unsent)
                del self._unsent[:sent]
        except BlockingIOError:
            loop.add_writer(self._ends[0], self._write)
        else:
            loop.remove_writer(self._ends[0])

    def _wait_until_across(self) -> None:
        """The kernel carries bytes across in its own time; late bytes are there before the clock goes on."""
        if self._ends is not None:
            select.select([self._ends[1]], [], [], DELIVERED_WITHIN[self.line.framed])
