"""The two kinds of Modbus lines, TCP and serial: how each is opened, rests and is read. The bus above knows no other
difference."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, Protocol

from pymodbus import FramerType
from pymodbus.client import AsyncModbusSerialClient, AsyncModbusTcpClient

from drivers.modbus_frames import Flaw, Question, flaw_rtu, flaw_tcp, noise_before
from drivers.modbus_words import words_rtu, words_tcp
from drivers.ports import why_not_opened
from rig.errors import InputError
from rig.plan.wiring import Link

# The library's own time limit is never the one that acts: the clock's is.
LIBRARY_GUARD = 30.0
RECONNECT, RECONNECT_MOST = 0.1, 2.0  # s; 0 has looped for ever, and the library's own longest wait is 300 s

# A module answers within 60 ms (common practice, no source); what it says after ten times that is late for anybody.
SILENCE = 0.5
BITS_A_CHARACTER = 11  # start, eight data, parity or a second stop bit, stop: MODBUS over Serial Line V1.02, 2.5.1
REST_CHARACTERS = 3.5  # between two frames; above 19 200 baud a fixed time, same place
SHORTEST_REST = 1.75e-3

Client = AsyncModbusTcpClient | AsyncModbusSerialClient
TracePacket = Callable[[bool, bytes], bytes]
TraceConnect = Callable[[bool], None]


class Line(Protocol):
    """One line: ``silence`` is what it takes after an oddity until nothing more comes, ``rest`` what lies between two
    frames, both in s."""

    where: str
    wire: str  # "modbus-tcp" or "modbus-rtu"
    silence: float
    rest: float

    def client(self, packets: TracePacket, connects: TraceConnect) -> Client:
        """A client of the library, not connected."""

    def flaw(self, heard: bytes, sent: bytes, question: Question) -> Flaw | None:
        """Why the bytes heard are no answer to those sent."""

    def noise(self, heard: bytes, question: Question) -> int:
        """How many bytes of noise came before a good answer."""

    def words(self, data: bytes, asked: bool) -> dict[str, Any]:
        """What a frame means, for a wire log."""

    def unreached(self) -> tuple[str, str]:
        """Why it could not be opened, as far as can be seen, and what to do."""


class TcpLine:
    """Modbus TCP. A connection that is opened anew carries nothing of the old one."""

    wire, silence, rest = "modbus-tcp", 0.0, 0.0

    def __init__(self, link: str, address: str) -> None:
        host, _, port = address.rpartition(":")
        if not host or not port.isdigit() or not 0 < int(port) < 65536:
            raise InputError(f"link {link}: expected an address HOST:PORT, found {address!r}", culprit=link)
        self.where = f"link {link} ({address})"
        self._host, self._port = host, int(port)

    def client(self, packets: TracePacket, connects: TraceConnect) -> Client:
        return AsyncModbusTcpClient(
            self._host,
            port=self._port,
            timeout=LIBRARY_GUARD,
            retries=0,
            trace_packet=packets,
            trace_connect=connects,
            reconnect_delay=RECONNECT,
            reconnect_delay_max=RECONNECT_MOST,
        )

    def flaw(self, heard: bytes, sent: bytes, question: Question) -> Flaw | None:
        return flaw_tcp(heard, sent, question)

    def noise(self, heard: bytes, question: Question) -> int:
        return 0

    def words(self, data: bytes, asked: bool) -> dict[str, Any]:
        return words_tcp(data, asked)

    def unreached(self) -> tuple[str, str]:
        return "cannot be reached", f"Check power, cable and address of {self.where}."


class RtuLine:
    """A serial line. Frames have no number, so a late answer looks like any other: the line must fall silent first."""

    wire, silence = "modbus-rtu", SILENCE

    def __init__(self, link: str, spec: Link) -> None:
        self.where = f"link {link} ({spec.address})"
        self._path, self._settings = spec.address, spec.serial()
        self.rest = max(SHORTEST_REST, REST_CHARACTERS * BITS_A_CHARACTER / self._settings.baud)

    def client(self, packets: TracePacket, connects: TraceConnect) -> Client:
        return AsyncModbusSerialClient(
            self._path,
            framer=FramerType.RTU,
            baudrate=self._settings.baud,
            parity=self._settings.parity[0].upper(),
            stopbits=self._settings.stop_bits,
            timeout=LIBRARY_GUARD,
            retries=0,
            trace_packet=packets,
            trace_connect=connects,
            reconnect_delay=RECONNECT,
            reconnect_delay_max=RECONNECT_MOST,
        )

    def flaw(self, heard: bytes, sent: bytes, question: Question) -> Flaw | None:
        return flaw_rtu(heard, sent, question)

    def noise(self, heard: bytes, question: Question) -> int:
        return noise_before(heard, question)

    def words(self, data: bytes, asked: bool) -> dict[str, Any]:
        return words_rtu(data, asked)

    def unreached(self) -> tuple[str, str]:
        return why_not_opened(self._path)


def line_of(link: str, spec: Link) -> Line:
    """The line of a link. Raises InputError for an address that is none."""
    if spec.protocol == "modbus-rtu":
        return RtuLine(link, spec)
    if spec.protocol == "modbus-tcp":
        return TcpLine(link, spec.address)
    raise InputError(
        f"link {link} is {spec.protocol}, and a Modbus driver needs modbus-tcp or modbus-rtu", culprit=link
    )


class Ear:
    """What was sent and heard on a line since the last question, and what came while nobody asked.

    The library is given an answer only when the line finds it good, and then that alone: left to itself it takes the
    first frame that fits, throws away what it cannot read, and loses an answer behind a byte of noise. ``spoilt`` is
    called when nothing that may still come can mend what came; ``tap``, if any, is shown all that passes."""

    def __init__(self, line: Line, spoilt: Callable[[], None], tap: Callable[[bool, bytes], None] | None) -> None:
        self._line, self._spoilt, self._tap = line, spoilt, tap
        self._question: Question | None = None
        self._left = 0  # bytes that were shown to the library before and lie still in its buffer
        self.unasked = self.noise = 0  # bytes that came while nobody asked; bytes before the answer
        self.sent = self.heard = b""

    def ask(self, question: Question) -> None:
        """A question is about to be sent."""
        self._question, self.unasked, self.noise, self.sent, self.heard = question, 0, 0, b"", b""

    def rest(self) -> None:
        """Nobody asks any more."""
        self._question = None

    def opened(self) -> None:
        """The line is opened anew, with an empty buffer."""
        self._left = self.unasked = 0

    def packet(self, sending: bool, data: bytes) -> bytes:
        """The library's trace: what is sent; and all that it has received since, of which it uses what is returned."""
        if sending:
            self.sent, self._left = data, 0
            if self._tap is not None:
                self._tap(True, data)
            return data
        if self._tap is not None:
            self._tap(False, data[self._left :])
        used = self._used(data)
        self._left = len(data) - len(used)
        return used

    def _used(self, data: bytes) -> bytes:
        if self._question is None:
            self.unasked += len(data) - self._left
            return b""
        self.heard = data
        flaw = self._line.flaw(data, self.sent, self._question)
        if flaw is not None:
            if flaw.final:
                self._spoilt()
            return b""
        self.noise = self._line.noise(data, self._question)
        return data[self.noise :] if self.noise else data
