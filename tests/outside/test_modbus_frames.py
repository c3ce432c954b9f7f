"""Frames of the Modbus specification, byte for byte, against the simulated gateway.

Source: Modbus Application Protocol Specification V1.1b3 (Modbus Organization, 2012), the examples of
sections 6.1 to 6.6, 6.11, 6.12 and 7; Modbus over Serial Line V1.02, 6.2.2, for the CRC. The frames are from
memory and were encoded alike by pymodbus's own classes.
"""

import pytest
from pymodbus.framer.rtu import FramerRTU
from pymodbus.framer.socket import FramerSocket
from pymodbus.pdu import DecodePDU

from simulators.wire.modbus import LIMITS, Device, ModbusGateway, answer_pdu


def bits(first: int, data: str, count: int) -> dict[int, bool]:
    """Addresses and states that packed bytes mean (least significant bit first)."""
    raw = bytes.fromhex(data)
    return {first + k: bool(raw[k // 8] >> k % 8 & 1) for k in range(count)}


class Spec:
    """A device with the tables of the specification's examples."""

    def __init__(self) -> None:
        self.coils = [False] * 1000
        self.inputs = [False] * 1000
        self.input_registers = [0] * 100
        self.holding = [0] * 200
        for address, on in bits(0x13, "CD 6B 05", 19).items():
            self.coils[address] = on
        for address, on in bits(0xC4, "AC DB 35", 22).items():
            self.inputs[address] = on
        self.holding[0x6B:0x6E] = [555, 0, 100]
        self.input_registers[8] = 10
        self.device = Device(
            coils=(1000, lambda at: self.coils[at.start : at.stop], self.coils.__setitem__),
            inputs=(1000, lambda at: self.inputs[at.start : at.stop]),
            input_registers=(100, lambda at: self.input_registers[at.start : at.stop]),
            holding_registers=(200, lambda at: self.holding[at.start : at.stop]),
            write_register=self.holding.__setitem__,
        )


EXAMPLES = [
    ("6.1", "01 00 13 00 13", "01 03 CD 6B 05"),
    ("6.2", "02 00 C4 00 16", "02 03 AC DB 35"),
    ("6.3", "03 00 6B 00 03", "03 06 02 2B 00 00 00 64"),
    ("6.4", "04 00 08 00 01", "04 02 00 0A"),
    ("6.5", "05 00 AC FF 00", "05 00 AC FF 00"),
    ("6.6", "06 00 01 00 03", "06 00 01 00 03"),
    ("6.11", "0F 00 13 00 0A 02 CD 01", "0F 00 13 00 0A"),
    ("6.12", "10 00 01 00 02 04 00 0A 01 02", "10 00 01 00 02"),
    ("7", "01 04 A1 00 01", "81 02"),
]


@pytest.mark.parametrize(("section", "request_pdu", "response_pdu"), EXAMPLES)
def test_the_examples_are_answered_byte_for_byte(section: str, request_pdu: str, response_pdu: str) -> None:
    sent, expected = bytes.fromhex(request_pdu), bytes.fromhex(response_pdu)
    gateway = ModbusGateway({0x11: Spec().device}, lambda now: None)
    header = bytes.fromhex("15 01 00 00")
    buffer = bytearray(header + (len(sent) + 1).to_bytes(2, "big") + b"\x11" + sent)
    request = gateway.take(buffer)
    assert request is not None
    assert not buffer
    answer = gateway.serve(request, 0.0)
    assert answer.data == header + (len(expected) + 1).to_bytes(2, "big") + b"\x11" + expected, section


def test_the_writing_examples_write() -> None:
    spec = Spec()
    for _, request, _ in EXAMPLES:
        answer_pdu(spec.device, bytes.fromhex(request))
    assert spec.coils[0xAC]
    assert {k: spec.coils[k] for k in range(0x13, 0x1D)} == bits(0x13, "CD 01", 10)
    assert spec.holding[1:3] == [0x0A, 0x0102]  # 6.6 wrote 3 first, 6.12 wrote over it


@pytest.mark.parametrize(("code", "most"), [(1, 2000), (2, 2000), (3, 125), (4, 125), (15, 1968), (16, 123)])
def test_the_limits_of_counts(code: int, most: int) -> None:
    """Sections 6.1 to 6.4 (07D0, 7D hexadecimal), 6.11 (07B0), 6.12 (7B)."""
    assert LIMITS[code] == most
    device = Device(
        coils=(65536, lambda at: [False] * len(at), lambda address, on: None),
        inputs=(65536, lambda at: [False] * len(at)),
        input_registers=(65536, lambda at: [0] * len(at)),
        holding_registers=(65536, lambda at: [0] * len(at)),
        write_register=lambda address, value: None,
    )
    for count, refused in ((1, False), (most, False), (most + 1, True), (0, True)):
        pdu = bytes([code, 0, 0]) + count.to_bytes(2, "big")
        if code in (15, 16):
            size = (count + 7) // 8 if code == 15 else 2 * count
            pdu += bytes([size]) + bytes(size)
        answer = answer_pdu(device, pdu)
        assert answer.isError() == refused
        assert not refused or answer.exception_code == 3
        assert len(answer.encode()) + 1 <= 253  # a PDU, section 4.1


def bare(**tables: object) -> Device:
    return Device(**tables)  # type: ignore[arg-type]


COILS = (8, lambda at: [False] * len(at), lambda address, on: None)
INPUTS = (8, lambda at: [False] * len(at))
REGISTERS = (8, lambda at: [0] * len(at))
WHOLE = bare(
    coils=COILS, inputs=INPUTS, input_registers=REGISTERS, holding_registers=REGISTERS, write_register=lambda a, v: None
)  # fmt: skip
SERVED = (1, 2, 3, 4, 5, 6, 15, 16)


@pytest.mark.parametrize("function", [code for code in range(1, 128) if code not in SERVED])
def test_a_function_that_is_not_there_is_exception_1(function: int) -> None:
    """Section 7, code 01; also for diagnostics (08), FIFO (24) and what is reserved: this device has none of them."""
    answer = answer_pdu(WHOLE, bytes([function, 0, 0, 0, 1]))
    assert (answer.isError(), answer.function_code, answer.exception_code) == (True, function | 0x80, 1)


@pytest.mark.parametrize("function", SERVED)
@pytest.mark.parametrize(("address", "count", "code"), [(0, 0xFFFF, 3), (7, 2, 2), (0xFFFF, 1, 2), (0xFFFF, 0xFFFF, 3)])
def test_the_order_of_refusals(function: int, address: int, count: int, code: int) -> None:
    """The state diagrams of sections 6.1 to 6.12: the function is looked at first (01), then the quantity (03), then
    the address (02). A single write has no quantity: a coil's value is looked at (03), the address of both (02)."""
    word = count.to_bytes(2, "big")
    if function in (15, 16):
        size = (count + 7) // 8 if function == 15 else 2 * count
        word += bytes([size & 0xFF]) + bytes(size)
    if function == 5:
        word = b"\xff\x00" if code == 2 else b"\x12\x34"
    pdu = bytes([function]) + address.to_bytes(2, "big") + word
    if function == 6 or (function == 5 and address == 7):
        code = 2 if address > 7 else 0  # one register; any value will do
    for device, expected in ((WHOLE, code), (bare(), 1)):
        answer = answer_pdu(device, pdu)
        assert (answer.exception_code if answer.isError() else 0) == expected


def test_crc_of_the_serial_line() -> None:
    """CRC-16/MODBUS of "123456789" is 4B37; 02 07 gives 1241, on the wire 41 12 (Serial Line, 6.2.2)."""

    def crc(data: bytes) -> bytes:
        return FramerRTU.compute_CRC(data).to_bytes(2, "big")  # in the order of the wire, low byte first

    assert crc(b"123456789") == bytes.fromhex("37 4B")
    assert crc(bytes.fromhex("02 07")) == bytes.fromhex("41 12")
    frames = ("01 03 0000 000A C5CD", "01 03 0000 0002 C40B", "11 03 006B 0003 7687", "11 01 0013 0025 0E84")
    for frame in map(bytes.fromhex, frames):
        assert crc(frame[:-2]) == frame[-2:]
        used, device, _, pdu = FramerRTU(DecodePDU(is_server=True)).decode(frame)
        assert (used, device, pdu) == (len(frame), frame[0], frame[1:-2])


def test_the_library_frames_as_the_specification_does() -> None:
    """Transaction, protocol 0, length of what follows, unit (TCP/IP Implementation Guide V1.0b, 3.1.3)."""
    framer = FramerSocket(DecodePDU(is_server=True))
    frame = framer.encode(bytes.fromhex("03 00 6B 00 03"), 0x11, 0x1501)
    assert frame == bytes.fromhex("15 01 00 00 00 06 11 03 00 6B 00 03")
