"""Contacts on a Modbus input module: discrete inputs."""

from __future__ import annotations

from typing import Any

from drivers.modbus_bus import Module
from rig.bench.ports import Answer, Connection


class ModbusInputs(Module):
    """Discrete inputs 0 to channels-1, read together: one exchange costs what one input costs (function code 02)."""

    async def read(self) -> Answer[tuple[bool, ...]]:
        return await self.bus.read_bits(self.name, self.device, 2, 0, self.channels)


async def open_inputs(connection: Connection, shared: dict[str, Any]) -> ModbusInputs:
    """Open an input module on its link."""
    return ModbusInputs(connection, shared)
