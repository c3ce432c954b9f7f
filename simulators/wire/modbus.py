"""Modbus devices behind one address: a TCP gateway, or a serial line with several devices on it.

Frames and PDUs are pymodbus's own classes; the checks before them follow the Modbus Application Protocol
Specification V1.1b3, section 6 (which exception for what, limits of counts).
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from pymodbus.constants import ExcCodes
from pymodbus.pdu import DecodePDU, ExceptionResponse, ModbusPDU
from pymodbus.pdu.bit_message import (
    ReadCoilsResponse,
    ReadDiscreteInputsResponse,
    WriteMultipleCoilsResponse,
    WriteSingleCoilResponse,
)
from pymodbus.pdu.register_message import (
    ReadHoldingRegistersResponse,
    ReadInputRegistersResponse,
    WriteMultipleRegistersResponse,
    WriteSingleRegisterResponse,
)

from simulators.instruments import stream
from simulators.wire import Answer, Question
from simulators.wire.frames import Frame, Frames, RtuFrames, TcpFrames

SERIAL_CHARACTERS = 16
BROADCAST = 0  # the device number that means all of them

# One exchange through the gateway and its serial bus: an invented, common order of size.
EXCHANGE_SECONDS = 0.004
JITTER_SECONDS = 0.0005

# Most that one request may ask for (V1.1b3, 6.1 to 6.4, 6.11, 6.12).
LIMITS = {1: 2000, 2: 2000, 3: 125, 4: 125, 15: 1968, 16: 123}
FIXED_LENGTH = {1: 5, 2: 5, 3: 5, 4: 5, 5: 5, 6: 5}  # bytes of a request PDU


@dataclass(frozen=True)
class Device:
    """The tables of one device; None where it has none. Reads get a range of addresses."""

    coils: tuple[int, Callable[[range], Sequence[bool]], Callable[[int, bool], None]] | None = None
    inputs: tuple[int, Callable[[range], Sequence[bool]]] | None = None
    input_registers: tuple[int, Callable[[range], Sequence[int]]] | None = None
    holding_registers: tuple[int, Callable[[range], Sequence[int]]] | None = None
    write_register: Callable[[int, int], None] | None = None
    heard: Callable[[float], None] | None = None  # told the time of every request to the device

    def knows(self, function: int) -> bool:
        """It has what this function is about: asked first of all (V1.1b3, the state diagrams of section 6)."""
        if function in (1, 5, 15):
            return self.coils is not None
        if function in (6, 16):
            return self.holding_registers is not None and self.write_register is not None
        table = {2: self.inputs, 3: self.holding_registers, 4: self.input_registers}.get(function)
        return table is not None


def serial_registers(serial: str) -> list[int]:
    """A serial number as registers of two ASCII characters, padded with spaces."""
    text = serial.ljust(SERIAL_CHARACTERS).encode("ascii")
    return [int.from_bytes(text[index : index + 2], "big") for index in range(0, SERIAL_CHARACTERS, 2)]


def serial_table(serial: str) -> tuple[int, Callable[[range], Sequence[int]]]:
    """The holding registers of a device that keeps its serial number there."""
    registers = serial_registers(serial)
    return len(registers), lambda addresses: registers[addresses.start : addresses.stop]


class Refusal(Exception):
    """A request that is answered with an exception code."""

    def __init__(self, code: ExcCodes) -> None:
        super().__init__(code.name)
        self.code = code


def answer_pdu(device: Device, frame: bytes) -> ModbusPDU:
    """The answer of one device to a request PDU: an ExceptionResponse where it refuses."""
    code = frame[0]
    try:
        serve = _SERVED.get(code)
        if serve is None or not device.knows(code):
            raise Refusal(ExcCodes.ILLEGAL_FUNCTION)
        _check_request(frame)
        request = _decoder.decode(frame)
        if request is None:
            raise Refusal(ExcCodes.ILLEGAL_VALUE)
        return serve(device, request)
    except Refusal as refusal:
        return ExceptionResponse(code, refusal.code)


class ModbusGateway:
    """The far end of the "modbus" link: several devices behind one address. Unknown ones stay silent.

    `names` gives the bench's name and the sort of each device. On a serial line (`frames`) device 0 is all of
    them, and nobody answers (Modbus over Serial Line V1.02, 2.1).
    """

    def __init__(
        self,
        devices: Mapping[int, Device],
        advance: Callable[[float], None],
        seed: int = 0,
        names: Mapping[int, tuple[str, str]] | None = None,
        frames: TcpFrames | RtuFrames | None = None,
        seconds: float = EXCHANGE_SECONDS,
        jitter: float = JITTER_SECONDS,
    ) -> None:
        self.frames: Frames = frames or TcpFrames()
        self._devices = devices
        self._advance = advance
        self._names = names or {}
        self._seconds, self._jitter = seconds, jitter
        self._source = stream(seed, "modbus", "exchange")

    def take(self, buffer: bytearray) -> bytes | None:
        """See Frames."""
        return self.frames.take(buffer)

    def question(self, request: bytes) -> Question:
        """Whose it is, and its function code."""
        _, device, pdu = self._split(request)
        name, sort = self._names.get(device, ("", ""))
        code = pdu[0]
        return Question(name, sort, (str(code),), code in (1, 2, 4), code == 3)

    def serve(self, request: bytes, now: float) -> Answer:
        """Bring the plant to `now`, act, and answer under the request's own transaction id."""
        transaction, device_id, pdu = self._split(request)
        self._advance(now)
        if device_id == BROADCAST and self.frames.wire == "modbus-rtu":
            for each in self._devices.values():
                answer_pdu(each, pdu)
            return Answer(None, self._seconds)
        device = self._devices.get(device_id)
        if device is None:
            return Answer(None, silent=True)
        if device.heard is not None:
            device.heard(now)
        answer = answer_pdu(device, pdu)
        said = bytes([answer.function_code]) + answer.encode()
        seconds = self._seconds + self._source.uniform(0.0, self._jitter)
        return Answer(self.frames.join(Frame(transaction, device_id, said)), seconds)

    def _split(self, request: bytes) -> Frame:
        frame = self.frames.split(request)
        assert frame is not None, "take() lets only whole frames through"
        return frame


def _check_request(frame: bytes) -> None:
    """Lengths, counts and values, which pymodbus's decoder does not tell apart. Raises Refusal."""
    code = frame[0]
    if len(frame) < FIXED_LENGTH.get(code, 6) or (code in FIXED_LENGTH and len(frame) != FIXED_LENGTH[code]):
        raise Refusal(ExcCodes.ILLEGAL_VALUE)
    count = int.from_bytes(frame[3:5], "big")
    if code in LIMITS and not 1 <= count <= LIMITS[code]:
        raise Refusal(ExcCodes.ILLEGAL_VALUE)
    if code == 5 and count not in (0x0000, 0xFF00):
        raise Refusal(ExcCodes.ILLEGAL_VALUE)
    if code in (15, 16):
        expected = (count + 7) // 8 if code == 15 else 2 * count
        if frame[5] != expected or len(frame) != 6 + expected:
            raise Refusal(ExcCodes.ILLEGAL_VALUE)


def _addresses(request: ModbusPDU, size: int, count: int) -> range:
    if request.address + count > size:
        raise Refusal(ExcCodes.ILLEGAL_ADDRESS)
    return range(request.address, request.address + count)


def _read_bits(device: Device, request: ModbusPDU) -> ModbusPDU:
    table = device.coils[:2] if request.function_code == 1 and device.coils else device.inputs
    assert table is not None  # the device knows the function
    size, read = table
    bits = read(_addresses(request, size, request.count))
    return (ReadCoilsResponse if request.function_code == 1 else ReadDiscreteInputsResponse)(bits=bits)


def _read_registers(device: Device, request: ModbusPDU) -> ModbusPDU:
    table = device.holding_registers if request.function_code == 3 else device.input_registers
    assert table is not None
    size, read = table
    values = read(_addresses(request, size, request.count))
    answer = ReadHoldingRegistersResponse if request.function_code == 3 else ReadInputRegistersResponse
    return answer(registers=values)


def _write_coils(device: Device, request: ModbusPDU) -> ModbusPDU:
    assert device.coils is not None
    size, _, write = device.coils
    for address, on in zip(_addresses(request, size, len(request.bits)), request.bits, strict=True):
        write(address, on)
    if request.function_code == 5:
        return WriteSingleCoilResponse(address=request.address, bits=request.bits)
    return WriteMultipleCoilsResponse(address=request.address, count=request.count)


def _write_registers(device: Device, request: ModbusPDU) -> ModbusPDU:
    assert device.write_register is not None and device.holding_registers is not None
    addresses = _addresses(request, device.holding_registers[0], len(request.registers))
    for address, value in zip(addresses, request.registers, strict=True):
        device.write_register(address, value)
    if request.function_code == 6:
        return WriteSingleRegisterResponse(address=request.address, registers=request.registers)
    return WriteMultipleRegistersResponse(address=request.address, count=request.count)


_SERVED: dict[int, Callable[[Device, ModbusPDU], ModbusPDU]] = {
    1: _read_bits,
    2: _read_bits,
    3: _read_registers,
    4: _read_registers,
    5: _write_coils,
    6: _write_registers,
    15: _write_coils,
    16: _write_registers,
}
_decoder = DecodePDU(is_server=True)
