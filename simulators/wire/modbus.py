"""Relay boards, inputs and the analog module on one Modbus TCP gateway.

Frames and PDUs are pymodbus's own classes; the checks before them follow the Modbus Application Protocol
Specification V1.1b3, section 6 (which exception for what, limits of counts).
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from pymodbus.constants import ExcCodes
from pymodbus.framer import FramerSocket
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

from simulators.instruments import ANALOG, AnalogInput, stream
from simulators.wire import Answer, Plant

BITS = 24  # coils of a relay board, inputs of the input module
REGISTERS = 12  # of the analog module
SERIAL_CHARACTERS = 16

# One exchange through the gateway and its serial bus: an invented, common order of size.
EXCHANGE_SECONDS = 0.004
JITTER_SECONDS = 0.0005

MBAP_BYTES = 7
LONGEST_ADU = 260  # V1.1b3, section 4.1: PDU 253 and the header

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


def serial_registers(serial: str) -> list[int]:
    """A serial number as registers of two ASCII characters, padded with spaces."""
    text = serial.ljust(SERIAL_CHARACTERS).encode("ascii")
    return [int.from_bytes(text[index : index + 2], "big") for index in range(0, SERIAL_CHARACTERS, 2)]


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
        if serve is None:
            raise Refusal(ExcCodes.ILLEGAL_FUNCTION)
        _check_request(frame)
        request = _decoder.decode(frame)
        if request is None:
            raise Refusal(ExcCodes.ILLEGAL_VALUE)
        return serve(device, request)
    except Refusal as refusal:
        return ExceptionResponse(code, refusal.code)


class ModbusGateway:
    """The far end of the "modbus" link: several devices behind one address. Unknown ones stay silent."""

    def __init__(
        self, devices: Mapping[int, Device], advance: Callable[[float], None], seed: int = 0
    ) -> None:
        self._devices = devices
        self._advance = advance
        self._jitter = stream(seed, "modbus", "exchange")

    def take(self, buffer: bytearray) -> bytes | None:
        """One whole ADU. ValueError: the header is not Modbus."""
        if len(buffer) >= MBAP_BYTES - 1:
            length = int.from_bytes(buffer[4:6], "big")
            if buffer[2:4] != b"\0\0" or not 2 <= length <= LONGEST_ADU - 6:
                raise ValueError("not a Modbus TCP header")
            if len(buffer) >= length + 6:
                adu = bytes(buffer[: length + 6])
                del buffer[: length + 6]
                return adu
        return None

    def serve(self, request: bytes, now: float) -> Answer:
        """Bring the plant to `now`, act, and answer under the request's own transaction id."""
        _, device_id, transaction, frame = _framer.decode(request)
        self._advance(now)
        device = self._devices.get(device_id)
        if device is None:
            return Answer(None, silent=True)
        answer = answer_pdu(device, frame)
        answer.dev_id, answer.transaction_id = device_id, transaction
        seconds = EXCHANGE_SECONDS + self._jitter.uniform(0.0, JITTER_SECONDS)
        return Answer(_framer.buildFrame(answer), seconds)


def bench_devices(plant: Plant, seed: int) -> dict[int, Device]:
    """The devices of the demonstration bench, by their Modbus ids."""
    analog = {channel: AnalogInput(channel, scale, seed) for channel, scale in ANALOG.items()}

    def counts(addresses: range) -> list[int]:
        return [analog[at].counts(plant.quantity(at)) & 0xFFFF if at in analog else 0 for at in addresses]

    return {
        1: _relay_board(plant, 1, "SIM-R1"),
        4: _relay_board(plant, 4, "SIM-R2"),
        2: Device(
            inputs=(BITS, lambda addresses: _slice(plant.inputs(), addresses)),
            holding_registers=_serial("SIM-I1"),
        ),
        3: Device(input_registers=(REGISTERS, counts), holding_registers=_serial("SIM-A1")),
    }


def _relay_board(plant: Plant, board: int, serial: str) -> Device:
    return Device(
        coils=(
            BITS,
            lambda addresses: _slice(plant.coils(board), addresses),
            lambda channel, on: plant.set_coil(board, channel, on),
        ),
        holding_registers=_serial(serial),
    )


def _serial(serial: str) -> tuple[int, Callable[[range], Sequence[int]]]:
    registers = serial_registers(serial)
    return len(registers), lambda addresses: registers[addresses.start : addresses.stop]


def _slice(bits: Sequence[bool], addresses: range) -> Sequence[bool]:
    return bits[addresses.start : addresses.stop]


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
    table = device.coils[:2] if request.function_code == 1 and device.coils else None
    table = device.inputs if request.function_code == 2 else table
    if table is None:
        raise Refusal(ExcCodes.ILLEGAL_FUNCTION)
    size, read = table
    bits = read(_addresses(request, size, request.count))
    return (ReadCoilsResponse if request.function_code == 1 else ReadDiscreteInputsResponse)(bits=bits)


def _read_registers(device: Device, request: ModbusPDU) -> ModbusPDU:
    table = device.holding_registers if request.function_code == 3 else device.input_registers
    if table is None:
        raise Refusal(ExcCodes.ILLEGAL_FUNCTION)
    size, read = table
    values = read(_addresses(request, size, request.count))
    answer = ReadHoldingRegistersResponse if request.function_code == 3 else ReadInputRegistersResponse
    return answer(registers=values)


def _write_coils(device: Device, request: ModbusPDU) -> ModbusPDU:
    if device.coils is None:
        raise Refusal(ExcCodes.ILLEGAL_FUNCTION)
    size, _, write = device.coils
    for address, on in zip(_addresses(request, size, len(request.bits)), request.bits, strict=True):
        write(address, on)
    if request.function_code == 5:
        return WriteSingleCoilResponse(address=request.address, bits=request.bits)
    return WriteMultipleCoilsResponse(address=request.address, count=request.count)


def _write_registers(device: Device, request: ModbusPDU) -> ModbusPDU:
    if device.write_register is None or device.holding_registers is None:
        raise Refusal(ExcCodes.ILLEGAL_FUNCTION)
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
_framer = FramerSocket(_decoder)
