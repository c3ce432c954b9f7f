"""Analog inputs on a Modbus module: input registers of 16 bits, signed."""

from __future__ import annotations

from typing import Any

from drivers.modbus_bus import Module
from rig.bench.ports import Answer, Connection


def signed16(register: int) -> int:
    """A register as a two's complement number.

    >>> signed16(0xFFFF)
    -1
    """
    return register - 0x10000 if register & 0x8000 else register


class ModbusAnalog(Module):
    """Input registers 0 to channels-1 as raw counts; the bench file says what they mean (function code 04)."""

    async def read_raw(self, first: int, count: int) -> Answer[tuple[int, ...]]:
        answer = await self.bus.read_registers(self.name, self.device, 4, first, count)
        return Answer(tuple(map(signed16, answer.value)), answer.asked, answer.had)


async def open_analog(connection: Connection, shared: dict[str, Any]) -> ModbusAnalog:
    """Open an analog module on its link."""
    return ModbusAnalog(connection, shared)
