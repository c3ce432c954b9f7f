"""A Modbus power meter: quantities as floats of two registers each (IEEE 754 binary32), by a map that is data."""

from __future__ import annotations

import math
import struct
from collections.abc import Sequence
from typing import Any

from drivers.dialects import chosen
from drivers.maps import ORDERS, POWER_METERS
from drivers.modbus_bus import Module
from rig.bench.ports import Answer, Connection
from rig.errors import BadAnswer, InputError

# Below the smallest normal binary32; 230.0 with its words swapped is 2.4e-41. No meter means such a number.
SMALLEST, LARGEST = 1.2e-38, 1e9


def float32(registers: Sequence[int], order: str) -> float:
    """Two registers as a number, their bytes in one of ``ORDERS``.

    >>> float32([0x4306, 0x0000], "ABCD")
    134.0
    """
    data = b"".join(r.to_bytes(2, "big") for r in registers)
    placed = bytearray(4)
    for at, byte in zip(ORDERS[order], data, strict=True):
        placed[at] = byte
    value: float = struct.unpack(">f", bytes(placed))[0]
    return value


class ModbusPowerMeter(Module):
    """A channel is the number of an entry of its map."""

    def __init__(self, connection: Connection, shared: dict[str, Any]) -> None:
        super().__init__(connection, shared)
        self._map = POWER_METERS[chosen(POWER_METERS, connection.spec.map, connection.name)]
        if self.channels > len(self._map.entries):
            raise InputError(f"its map has {len(self._map.entries)} channels, the bench file says {self.channels}", "",
                             connection.name)  # fmt: skip

    async def read_value(self, channel: int) -> Answer[float]:
        first, unit, factor = self._map.entries[channel]
        answer = await self.bus.read_registers(self.name, self.device, self._map.function, first, 2)
        value = float32(answer.value, self._map.order)
        if not math.isfinite(value) or (value != 0 and not SMALLEST <= abs(value) <= LARGEST):
            shown = " ".join(f"{r:04x}" for r in answer.value)
            raise BadAnswer(
                f"channel {channel} says {value:.3g} {unit} ({shown})",
                f"Check the order of words in its map: it is {self._map.order}.",
                self.name,
            )
        return Answer(value * factor, answer.asked, answer.had)


async def open_power_meter(connection: Connection, shared: dict[str, Any]) -> ModbusPowerMeter:
    """Open a power meter on its link."""
    return ModbusPowerMeter(connection, shared)
