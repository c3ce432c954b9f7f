"""The frames that carry requests and answers: Modbus TCP, Modbus RTU, and plain lines.

Modbus TCP after the Messaging on TCP/IP Implementation Guide V1.0b, 3.1.3; RTU after Modbus over Serial Line
V1.02, 2.5.1; PDUs after the Application Protocol Specification V1.1b3. CRC and encoding are pymodbus's own.
"""

from typing import Any, NamedTuple, Protocol

from pymodbus.framer import FramerRTU, FramerSocket
from pymodbus.pdu import DecodePDU

MBAP_BYTES = 7
LONGEST_ADU = 260  # V1.1b3, section 4.1: PDU 253 and the header
LONGEST_LINE = 65536  # bytes; more without an end of line is not a request
SHORTEST_RTU = 4  # device, function code, CRC


class Frame(NamedTuple):
    """What a Modbus frame carries. `transaction` is 0 on a serial line."""

    transaction: int
    device: int
    pdu: bytes


class Frames(Protocol):
    """One way to put requests and answers on a wire."""

    wire: str  # "modbus-tcp", "modbus-rtu", "lines"
    text: bool  # a line each; `split` and `join` are for Modbus alone

    def take(self, buffer: bytearray) -> bytes | None:
        """Remove the first whole request from the buffer; None when it is not all there yet.

        Raises ValueError for bytes that can never become a request: a connection is dropped, a serial line
        forgets what it heard.
        """

    def split(self, data: bytes) -> Frame | None:
        """The parts of one whole frame; None when it is not one."""

    def join(self, frame: Frame) -> bytes:
        """One whole frame."""

    def words(self, data: bytes, asked: bool) -> dict[str, Any]:
        """What bytes mean, in words: of a question (`asked`) or of an answer."""


class TcpFrames:
    """Modbus TCP."""

    wire, text = "modbus-tcp", False

    def take(self, buffer: bytearray) -> bytes | None:
        """One whole ADU. ValueError: the header is not Modbus."""
        if len(buffer) >= MBAP_BYTES - 1:
            length = int.from_bytes(buffer[4:6], "big")
            if buffer[2:4] != b"\0\0" or not 2 <= length <= LONGEST_ADU - 6:
                raise ValueError("not a Modbus TCP header")
            if len(buffer) >= length + 6:
                return _cut(buffer, length + 6)
        return None

    def split(self, data: bytes) -> Frame | None:
        """See Frames."""
        if len(data) <= MBAP_BYTES or data[2:4] != b"\0\0" or int.from_bytes(data[4:6], "big") != len(data) - 6:
            return None
        return Frame(int.from_bytes(data[:2], "big"), data[6], data[MBAP_BYTES:])

    def join(self, frame: Frame) -> bytes:
        """See Frames."""
        return _socket.encode(frame.pdu, frame.device, frame.transaction)

    def words(self, data: bytes, asked: bool) -> dict[str, Any]:
        """See Frames."""
        frame = self.split(data)
        if frame is None:
            return {"damaged": True}
        return {"transaction": frame.transaction, "device": frame.device, **pdu_words(frame.pdu, asked)}


class RtuFrames:
    """Modbus RTU. What does not begin with a frame of right CRC is no frame: devices on a line do not search."""

    wire, text = "modbus-rtu", False

    def take(self, buffer: bytearray) -> bytes | None:
        """One whole request. ValueError: noise, or a damaged request."""
        if len(buffer) < SHORTEST_RTU:
            return None
        kind = _requests.lookupPduClass(bytes(buffer))
        if kind is None:  # a function that has no length here: the silence behind it ends it (`take_rest`)
            return None
        size = kind.calculateRtuFrameSize(bytes(buffer))
        if not size or len(buffer) < size:
            return None
        data = _cut(buffer, size)
        if self.split(data) is None:
            raise ValueError("a frame with a wrong CRC")
        return data

    def take_rest(self, buffer: bytearray) -> bytes | None:
        """What stood in the buffer when the line fell silent, if it is a frame; the buffer is empty then."""
        data = _cut(buffer, len(buffer))
        return data if self.split(data) is not None else None

    def split(self, data: bytes) -> Frame | None:
        """See Frames."""
        if len(data) < SHORTEST_RTU or not FramerRTU.check_CRC(data[:-2], int.from_bytes(data[-2:], "big")):
            return None
        return Frame(0, data[0], data[1:-2])

    def join(self, frame: Frame) -> bytes:
        """See Frames."""
        return _rtu.encode(frame.pdu, frame.device, 0)

    def words(self, data: bytes, asked: bool) -> dict[str, Any]:
        """See Frames."""
        frame = self.split(data)
        return {"damaged": True} if frame is None else {"device": frame.device, **pdu_words(frame.pdu, asked)}


class LineFrames:
    """One line each way."""

    wire, text = "lines", True

    def take(self, buffer: bytearray) -> bytes | None:
        """The first line, without its end. ValueError when it grows beyond all sense."""
        end = buffer.find(b"\n")
        if end < 0:
            if len(buffer) > LONGEST_LINE:
                raise ValueError("a line without an end")
            return None
        return _cut(buffer, end + 1)[:-1]

    def split(self, data: bytes) -> Frame | None:
        """Never: a line is not a Modbus frame."""
        return None

    def join(self, frame: Frame) -> bytes:
        """Never: a line is not a Modbus frame."""
        raise ValueError("lines carry no Modbus frames")

    def words(self, data: bytes, asked: bool) -> dict[str, Any]:
        """See Frames."""
        return {"text": data.decode("ascii", "backslashreplace").rstrip("\r\n")}


def pdu_words(pdu: bytes, asked: bool) -> dict[str, Any]:
    """Function, address, count, values of a PDU; coils and inputs as a string of 0 and 1, lowest address first.

    What is too short to mean anything has its `data` in hexadecimal instead.
    """
    code = pdu[0]
    if code & 0x80:
        return {"function": code & 0x7F, "exception": pdu[1] if len(pdu) > 1 else None}
    words: dict[str, Any] = {"function": code}
    if code in (5, 6) and len(pdu) == 5:
        value = int.from_bytes(pdu[3:5], "big")
        return words | {"address": _word(pdu, 1), "values": [int(value == 0xFF00) if code == 5 else value]}
    if (asked or code in (15, 16)) and len(pdu) >= 5 and code in (1, 2, 3, 4, 15, 16):
        words |= {"address": _word(pdu, 1), "count": _word(pdu, 3)}
        if asked and len(pdu) > 6:
            words |= _values(code, pdu[6:], words["count"])
        return words
    if not asked and code in (1, 2, 3, 4) and len(pdu) >= 2 and pdu[1] == len(pdu) - 2:
        return words | _values(code, pdu[2:], 8 * len(pdu))
    return words | {"data": pdu[1:].hex()}


def _values(code: int, data: bytes, count: int) -> dict[str, Any]:
    if code in (1, 2, 15):
        bits = "".join(str(byte >> k & 1) for byte in data for k in range(8))
        return {"bits": bits[:count]}
    return {"values": [_word(data, at) for at in range(0, len(data) - 1, 2)]}


def _word(data: bytes, at: int) -> int:
    return int.from_bytes(data[at : at + 2], "big")


def _cut(buffer: bytearray, size: int) -> bytes:
    data = bytes(buffer[:size])
    del buffer[:size]
    return data


_requests = DecodePDU(is_server=True)
_socket = FramerSocket(_requests)
_rtu = FramerRTU(_requests)
