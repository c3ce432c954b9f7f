"""Contacts on a Modbus input module: discrete inputs."""

from __future__ import annotations

from typing import Any

from drivers.modbus_bus import Module
from rig.bench.ports import Answer, Connection


class ModbusInputs(Module):
    """Discrete inputs 0 to channels-1, read together: one exchange costs what one input costs (function code 02)."""

    async def read(self) -> Answer[tuple[bool, ...]]:
        answer = await self.bus.request(
            self.name, self.device, 2, lambda c: c.read_discrete_inputs(0, count=self.channels, device_id=self.device)
        )
        return Answer(self.bits(answer.value), answer.asked, answer.had)


async def open_inputs(connection: Connection, shared: dict[str, Any]) -> ModbusInputs:
    """Open an input module on its link."""
    return ModbusInputs(connection, shared)
