"""Modbus frames that lie: numbers of the transaction, the device, the function; lengths, counts, bits, refusals.

Exception codes after the Modbus Application Protocol Specification V1.1b3, section 7.
"""

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial

from simulators.instruments import stream
from simulators.wire import Question
from simulators.wire.delivery import Delivery
from simulators.wire.fault import (
    ANY_WIRE,
    BITS,
    MODBUS,
    POWER,
    REGISTERS,
    RELAYS,
    TCP,
    UNACTED_SECONDS,
    Exchange,
    Fault,
    Kind,
    Reading,
)
from simulators.wire.frames import Frame
from simulators.wire.modbus import serial_registers

SIBLINGS = {1: 2, 2: 1, 3: 4, 4: 3, 5: 6, 6: 5, 15: 16, 16: 15}  # functions of the same shape
READS = ("1", "2", "3", "4")  # function codes whose answers carry a byte count and data


class Framed(Fault):
    """Rewrites the one honest frame of an answer."""

    def bend(self, exchange: Exchange, delivery: Delivery) -> Delivery:
        data = delivery.data
        frame = None if data is None else exchange.far_end.frames.split(data)
        if frame is None:
            return delivery
        return delivery.saying(self.rewrite(exchange, frame))

    def rewrite(self, exchange: Exchange, frame: Frame) -> bytes:
        """The bytes instead of this frame."""
        return exchange.far_end.frames.join(self.reframe(exchange, frame))

    def reframe(self, exchange: Exchange, frame: Frame) -> Frame:
        """Another frame, well formed."""
        return frame


@dataclass
class Transaction(Framed):
    """Another transaction number: `by` more than asked, or `zero`."""

    by: int = 1
    zero: bool = False

    def reframe(self, exchange: Exchange, frame: Frame) -> Frame:
        number = 0 if self.zero else (frame.transaction + self.by) % 0x10000
        return frame._replace(transaction=number)


class ProtocolNumber(Framed):
    """The header says that this is not Modbus."""

    def rewrite(self, exchange: Exchange, frame: Frame) -> bytes:
        data = exchange.far_end.frames.join(frame)
        return data[:2] + b"\0\1" + data[4:]


@dataclass
class WrongDevice(Framed):
    """Another device's number: `device`, or the next one."""

    device: int | None = None

    def reframe(self, exchange: Exchange, frame: Frame) -> Frame:
        return frame._replace(device=(frame.device % 247) + 1 if self.device is None else int(self.device))


class WrongFunction(Framed):
    """The answer to a question of the same shape: coils for inputs, input registers for holding ones, and back."""

    def reframe(self, exchange: Exchange, frame: Frame) -> Frame:
        code = frame.pdu[0]
        other = SIBLINGS.get(code & 0x7F, code & 0x7F) | code & 0x80
        return frame._replace(pdu=bytes([other]) + frame.pdu[1:])


@dataclass
class Flip(Framed):
    """A flipped bit: with `seen`, CRC (RTU) or length (TCP) tell; else they fit and nothing tells."""

    seen: bool = False

    def __post_init__(self) -> None:
        self._source = stream(0, "misbehaviour", "flip")

    def concerns(self, question: Question) -> bool:
        return self.seen or any(word in READS for word in question.words)

    def rewrite(self, exchange: Exchange, frame: Frame) -> bytes:
        frames = exchange.far_end.frames
        if not self.seen:
            return frames.join(frame._replace(pdu=self._flipped(frame.pdu, 2)))
        data = frames.join(frame)
        if frames.wire == "modbus-tcp":  # one more than there is: the frame never ends
            return data[:5] + bytes([data[5] ^ 0x40]) + data[6:]
        return self._flipped(data, 2)

    def _flipped(self, data: bytes, first: int) -> bytes:
        if len(data) <= first:
            return data
        at = self._source.randrange(first, len(data))
        return data[:at] + bytes([data[at] ^ 1 << self._source.randrange(8)]) + data[at + 1 :]


@dataclass
class Refusal(Fault):
    """Exception `code` instead of an answer; with `acting` the device obeys all the same."""

    code: int = 4
    acting: bool = False

    def acts(self, exchange: Exchange) -> bool:
        return self.acting

    def bend(self, exchange: Exchange, delivery: Delivery) -> Delivery:
        asked = exchange.frame()
        said = asked._replace(pdu=bytes([asked.pdu[0] | 0x80, self.code]))
        worked = delivery if delivery.busy else delivery.later(UNACTED_SECONDS)
        return worked.saying(exchange.far_end.frames.join(said))


@dataclass
class Length(Framed):
    """A byte too few or too many `by` in bits, two in registers; the counts in the frame agree with it."""

    by: int = -1

    def concerns(self, question: Question) -> bool:
        return any(word in READS for word in question.words)

    def reframe(self, exchange: Exchange, frame: Frame) -> Frame:
        data = frame.pdu[2:]
        size = abs(self.by) * (1 if frame.pdu[0] in (1, 2) else 2)
        data = data[:-size] if self.by < 0 else data + bytes(size)
        return frame._replace(pdu=bytes([frame.pdu[0], len(data)]) + data)


class ByteCount(Framed):
    """The byte count says two more than there are."""

    def concerns(self, question: Question) -> bool:
        return any(word in READS for word in question.words)

    def reframe(self, exchange: Exchange, frame: Frame) -> Frame:
        return frame._replace(pdu=bytes([frame.pdu[0], (frame.pdu[1] + 2) % 256]) + frame.pdu[2:])


class WrongEcho(Framed):
    """A write is confirmed for the channel beside the one that was meant."""

    def concerns(self, question: Question) -> bool:
        return any(word in ("5", "6", "15", "16") for word in question.words)

    def reframe(self, exchange: Exchange, frame: Frame) -> Frame:
        address = (int.from_bytes(frame.pdu[1:3], "big") + 1) % 0x10000
        return frame._replace(pdu=frame.pdu[:1] + address.to_bytes(2, "big") + frame.pdu[3:])


@dataclass
class Fill(Reading, Framed):
    """All data bytes are `byte`."""

    byte: int = 0

    def reframe(self, exchange: Exchange, frame: Frame) -> Frame:
        return frame._replace(pdu=frame.pdu[:2] + bytes([self.byte]) * (len(frame.pdu) - 2))


@dataclass
class Swapped(Reading, Framed):
    """Bytes within each register, or the two registers of each float, stand in the other order."""

    words: bool = False

    def reframe(self, exchange: Exchange, frame: Frame) -> Frame:
        data, size = frame.pdu[2:], 4 if self.words else 2
        groups = [data[at : at + size] for at in range(0, len(data), size)]
        half = size // 2
        return frame._replace(pdu=frame.pdu[:2] + b"".join(group[half:] + group[:half] for group in groups))


@dataclass
class Serial(Framed):
    """Another serial number in the holding registers where a module keeps its own."""

    serial: str = "SIM-X9"

    def concerns(self, question: Question) -> bool:
        return question.identifies

    def reframe(self, exchange: Exchange, frame: Frame) -> Frame:
        first = int.from_bytes(exchange.frame().pdu[1:3], "big")
        table = b"".join(register.to_bytes(2, "big") for register in serial_registers(self.serial))
        return frame._replace(pdu=frame.pdu[:2] + table[2 * first : 2 * first + frame.pdu[1]])


EXCEPTIONS = {
    1: ("illegal function", "the module does not know the command; wrong module or firmware?"),
    2: ("illegal data address", "the module has fewer channels than the bench file says"),
    3: ("illegal data value", "the module refuses the value"),
    4: ("device failure", "the module says that it has failed"),
    5: ("acknowledge, it takes longer", "accepted, but not yet done"),
    6: ("device busy", "the module is busy; ask again later"),
    10: ("gateway: no path to the device", "the gateway is set up wrongly"),
    11: ("gateway: the device does not answer", "the gateway lives, the module behind it does not"),
}


def _kind(
    name: str,
    line: str,
    seen: str,
    make: Callable[..., Fault],
    sorts: frozenset[str] = MODBUS,
    wires: frozenset[str] = ANY_WIRE,
    takes: tuple[str, ...] = (),
) -> Kind:
    return Kind(name, line, seen, sorts, make, wires, takes)


KINDS = (
    _kind("wrong-transaction", "the answer bears another transaction number",
          "no answer that belongs to the question", Transaction, wires=TCP, takes=("by",)),
    _kind("transaction-zero", "the answer bears transaction number 0",
          "nothing: some programs let it pass unchecked", partial(Transaction, zero=True), wires=TCP),
    _kind("wrong-protocol", "the header says that this is not Modbus", "an answer that nobody understands",
          ProtocolNumber, wires=TCP),
    _kind("wrong-device", "another device's number in the answer", "two modules with one number?",
          WrongDevice, takes=("device",)),
    _kind("wrong-function", "the answer is for another function",
          "an answer to something that was not asked", WrongFunction),
    _kind("bit-flip-seen", "a flipped bit that CRC or length tell of",
          "no answer that is whole; noise on the line?", partial(Flip, seen=True)),
    _kind("bit-flip-unseen", "a flipped bit in the data, CRC and length fit",
          "a value that jumps, a bit that is wrong", Flip),
    *(
        _kind(f"exception-{code}", f"refuses: exception {code}, {words}", seen, partial(Refusal, code=code))
        for code, (words, seen) in EXCEPTIONS.items()
    ),
    _kind("exception-odd", "refuses with an exception code that no table knows",
          "refused, for no known reason", partial(Refusal, code=99), takes=("code",)),
    _kind("obeys-but-refuses", "does what it was told and answers with exception 4",
          "said to have failed, yet it switched", partial(Refusal, code=4, acting=True)),
    _kind("too-few", "fewer bits or registers than were asked", "fewer channels than the bench file says",
          Length),
    _kind("too-many", "more bits or registers than were asked", "more channels than the bench file says",
          partial(Length, by=1)),
    _kind("byte-count-lies", "the byte count does not fit the bytes", "an answer that is not whole",
          ByteCount),
    _kind("wrong-echo", "a write is confirmed for the neighbouring channel", "did the right relay switch?",
          WrongEcho, sorts=frozenset({RELAYS})),
    _kind("wrong-module", "another serial number in its registers",
          "another module than the bench file says", Serial, takes=("serial",)),
    _kind("all-zero", "all data are 0", "everything off, everything at its lowest", Fill,
          sorts=BITS | REGISTERS),
    _kind("all-ones", "all data are 1", "everything on, or a sensor broken off", partial(Fill, byte=0xFF),
          sorts=BITS | REGISTERS),
    _kind("bytes-swapped", "low and high byte of each register are swapped", "values that make no sense",
          Swapped, sorts=REGISTERS),
    _kind("words-swapped", "the two registers of each float are swapped", "values that make no sense",
          partial(Swapped, words=True), sorts=frozenset({POWER})),
)  # fmt: skip
