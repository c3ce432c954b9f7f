"""What a Modbus answer must look like, byte by byte: from whom, to what, how long. Parsing only, no sockets.

Frames: MODBUS Application Protocol V1.1b3 (functions, exceptions), MODBUS Messaging on TCP/IP V1.0b 3.1.3 (transaction,
protocol, length, unit), MODBUS over Serial Line V1.02 2.5.1 (address, function, data, checksum).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property, lru_cache

EXCEPTION = 0x80
READ_BITS, READ_REGISTERS = (1, 2), (3, 4)
ONE_VALUE = (5, 6)  # answered with the request itself; 15 and 16 with its first five bytes
NOISE = 3  # bytes before an answer that are noise of the line, and too few for an answer of somebody else


@dataclass(frozen=True)
class Question:
    """What was asked: of which device, which function, and how many bits or registers."""

    device: int
    function: int
    count: int

    @cached_property
    def answer_length(self) -> int:
        """Bytes of the answer from its function code to the end of its data."""
        if self.function in READ_BITS:
            return 2 + (self.count + 7) // 8
        return 2 + 2 * self.count if self.function in READ_REGISTERS else 5


@lru_cache(maxsize=256)
def question_of(device: int, function: int, count: int) -> Question:
    """The question; a bench has few, and asks them again and again."""
    return Question(device, function, count)


def crc16(data: bytes) -> int:
    """The checksum of a serial frame (polynomial 0xA001, first value 0xFFFF; it travels low byte first).

    >>> hex(crc16(bytes.fromhex("0207")))
    '0x1241'
    """
    crc = 0xFFFF
    for byte in data:
        crc ^= byte
        for _ in range(8):
            crc = crc >> 1 ^ 0xA001 if crc & 1 else crc >> 1
    return crc


@dataclass(frozen=True)
class Flaw:
    """Why bytes are no answer. ``final``: more bytes cannot mend it."""

    why: str
    final: bool = True


def flaw_tcp(heard: bytes, sent: bytes, question: Question) -> Flaw | None:
    """Why these bytes are not the one answer to ``sent`` on a TCP link; None when they are."""
    if len(heard) < 9:
        return Flaw(f"half an answer came, {len(heard)} bytes", final=False)
    transaction, wanted = int.from_bytes(heard[:2], "big"), int.from_bytes(sent[:2], "big")
    if int.from_bytes(heard[2:4], "big") != 0:
        return Flaw(f"what came is no Modbus answer ({_hex(heard)})")
    if transaction != wanted:
        return Flaw(f"it answers transaction {transaction}, asked was {wanted}")
    length = 6 + int.from_bytes(heard[4:6], "big")
    if len(heard) < length:
        return Flaw(f"half an answer came, {len(heard)} of {length} bytes", final=False)
    if len(heard) > length:
        return Flaw(f"more came than one answer, {len(heard)} bytes instead of {length}")
    return _flaw(heard[6], heard[7:], sent[7:], question)


def flaw_rtu(heard: bytes, sent: bytes, question: Question) -> Flaw | None:
    """Why these bytes are not the one answer to ``sent`` on a serial line; None when they are. A few bytes of noise
    before it are borne."""
    if len(heard) < 4:
        return Flaw(f"half an answer came, {len(heard)} bytes", final=False)
    lengths = (3 + question.answer_length, 5)  # an answer, an exception
    for length in lengths:
        extra = len(heard) - length
        if not (0 <= extra <= NOISE and sound(heard[extra:])):
            continue
        if length == lengths[0] or heard[extra + 1] & EXCEPTION:
            return _flaw(heard[extra], heard[extra + 1 : -2], sent[1:-2], question)
    if sound(heard):
        flaw = _flaw(heard[0], heard[1:-2], sent[1:-2], question)
        # one beginning of a frame in 65,536 has a right checksum by chance: what is too short may still go on
        return flaw and replace(flaw, final=len(heard) >= lengths[0])
    if len(heard) < lengths[0]:
        return Flaw(f"half an answer came, {len(heard)} of {lengths[0]} bytes", final=False)
    if any(sound(heard[:length]) for length in lengths):
        return Flaw(f"more came than one answer, {len(heard)} bytes ({_hex(heard)})")
    return Flaw(f"its checksum is wrong ({_hex(heard)})", final=len(heard) > lengths[0] + NOISE)


def noise_before(heard: bytes, question: Question) -> int:
    """Bytes of noise before a sound answer on a serial line."""
    for length in (3 + question.answer_length, 5):
        if len(heard) >= length and sound(heard[-length:]):
            return len(heard) - length
    return 0


def sound(frame: bytes) -> bool:
    """Whether bytes are a serial frame with its checksum."""
    return len(frame) >= 4 and crc16(frame[:-2]) == int.from_bytes(frame[-2:], "little")


def _flaw(device: int, pdu: bytes, asked: bytes, question: Question) -> Flaw | None:
    """The parts that both kinds of frames have: the device, and what follows from the function code on."""
    why = _why_not(device, pdu, asked, question)
    return None if why is None else Flaw(why)


def _why_not(device: int, pdu: bytes, asked: bytes, question: Question) -> str | None:
    if device != question.device:
        return f"device {device} answered, asked was device {question.device}"
    function = pdu[0]
    if function == question.function | EXCEPTION:
        return None if len(pdu) == 2 else f"an exception of {len(pdu)} bytes came, expected 2"
    if function != question.function:
        return f"it answers function {function}, asked was function {question.function}"
    if len(pdu) != question.answer_length:
        return f"it is {len(pdu)} bytes long, expected {question.answer_length}"
    if function in (*READ_BITS, *READ_REGISTERS):
        return None if pdu[1] == len(pdu) - 2 else f"it says {pdu[1]} bytes of data and has {len(pdu) - 2}"
    if pdu != asked[:5]:
        return f"it confirms something else ({_hex(pdu)}) than was asked ({_hex(asked[:5])})"
    return None


def _hex(data: bytes) -> str:
    return data[:20].hex(" ") + (" …" if len(data) > 20 else "")
