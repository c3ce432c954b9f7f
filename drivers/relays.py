"""Relay outputs on a Modbus board: coils."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from drivers.modbus_bus import Module
from rig.bench.ports import Answer, Connection


class ModbusRelays(Module):
    """Coils 0 to channels-1, written one at a time or all at once (function codes 05, 15, 01)."""

    async def write(self, channel: int, on: bool) -> Answer[None]:
        return await self.bus.write_bit(self.name, self.device, channel, on)

    async def write_all(self, on: Sequence[bool]) -> Answer[None]:
        return await self.bus.write_bits(self.name, self.device, on)

    async def read(self) -> Answer[tuple[bool, ...]]:
        return await self.bus.read_bits(self.name, self.device, 1, 0, self.channels)

    async def set_watchdog(self, register: int, unit: float, seconds: float) -> float:
        await self.bus.write_register(self.name, self.device, register, round(seconds / unit))
        said = await self.bus.read_registers(self.name, self.device, 3, register, 1)
        return said.value[0] * unit


async def open_relays(connection: Connection, shared: dict[str, Any]) -> ModbusRelays:
    """Open a relay board on its link."""
    return ModbusRelays(connection, shared)
