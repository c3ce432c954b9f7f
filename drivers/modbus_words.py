"""What Modbus frames mean, in words for a wire log. The library decodes them; nothing here decides anything."""

from __future__ import annotations

from typing import Any

from pymodbus.exceptions import ModbusException
from pymodbus.pdu import DecodePDU

from drivers.modbus_frames import EXCEPTION, sound

DAMAGED = {"damaged": True}
_asked, _said = DecodePDU(is_server=True), DecodePDU(is_server=False)


def words_tcp(data: bytes, asked: bool) -> dict[str, Any]:
    """Of a frame on TCP: transaction, device, and what ``words`` says."""
    if len(data) < 8 or data[2:4] != b"\0\0" or int.from_bytes(data[4:6], "big") != len(data) - 6:
        return DAMAGED
    return {"transaction": int.from_bytes(data[:2], "big"), "device": data[6], **words(data[7:], asked)}


def words_rtu(data: bytes, asked: bool) -> dict[str, Any]:
    """Of a frame on a serial line: device, and what ``words`` says."""
    return {"device": data[0], **words(data[1:-2], asked)} if sound(data) else DAMAGED


def words(pdu: bytes, asked: bool) -> dict[str, Any]:
    """Function, and address, count, bits (lowest address first), values or exception; ``data`` in hexadecimal for what
    the library cannot decode."""
    code = pdu[0]
    if code & EXCEPTION:
        return {"function": code & ~EXCEPTION, "exception": pdu[1] if len(pdu) > 1 else None}
    try:
        found: Any = (_asked if asked else _said).decode(pdu)
    except (ModbusException, ValueError, IndexError):
        found = None
    if found is None or code not in (1, 2, 3, 4, 5, 6, 15, 16):
        return {"function": code, "data": pdu[1:].hex()}
    told: dict[str, Any] = {"function": code}
    reads, writes_many = code in (1, 2, 3, 4), code in (15, 16)
    if asked or not reads:
        told["address"] = found.address
    if writes_many or (asked and reads):
        told["count"] = found.count
    if code in (5, 6):
        told["values"] = [int(found.bits[0])] if code == 5 else list(found.registers)
    elif asked == writes_many:  # a question that writes, an answer to one that reads
        if found.bits:
            told["bits"] = "".join(str(int(bit)) for bit in found.bits)
        else:
            told["values"] = list(found.registers)
    return told
