"""Relay outputs on a Modbus board: coils."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from drivers.modbus_bus import Module
from rig.bench.ports import Answer, Connection


class ModbusRelays(Module):
    """Coils 0 to channels-1, written one at a time or all at once (function codes 05, 15, 01)."""

    async def write(self, channel: int, on: bool) -> Answer[None]:
        answer = await self.bus.request(
            self.name, self.device, 5, lambda c: c.write_coil(channel, on, device_id=self.device)
        )
        return Answer(None, answer.asked, answer.had)

    async def write_all(self, on: Sequence[bool]) -> Answer[None]:
        answer = await self.bus.request(
            self.name, self.device, 15, lambda c: c.write_coils(0, list(on), device_id=self.device)
        )
        return Answer(None, answer.asked, answer.had)

    async def read(self) -> Answer[tuple[bool, ...]]:
        answer = await self.bus.request(
            self.name, self.device, 1, lambda c: c.read_coils(0, count=self.channels, device_id=self.device)
        )
        return Answer(self.bits(answer.value), answer.asked, answer.had)

    async def set_watchdog(self, register: int, unit: float, seconds: float) -> float:
        counts = round(seconds / unit)
        await self.bus.request(
            self.name, self.device, 6, lambda c: c.write_register(register, counts, device_id=self.device)
        )
        said = await self.bus.request(
            self.name, self.device, 3, lambda c: c.read_holding_registers(register, count=1, device_id=self.device)
        )
        return float(said.value.registers[0]) * unit


async def open_relays(connection: Connection, shared: dict[str, Any]) -> ModbusRelays:
    """Open a relay board on its link."""
    return ModbusRelays(connection, shared)
