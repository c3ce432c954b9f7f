"""Register maps as data: what lies where in a Modbus instrument. A bench file names one with ``map:``.

A float takes two registers, and no standard says in which order its four bytes come: ``order`` does, A the highest.
"""

from __future__ import annotations

from dataclasses import dataclass

ORDERS = {"ABCD": (0, 1, 2, 3), "CDAB": (2, 3, 0, 1), "BADC": (1, 0, 3, 2), "DCBA": (3, 2, 1, 0)}


@dataclass(frozen=True)
class FloatMap:
    """Where floats lie: the function that reads them, the order of their bytes, and, by the bench's channel number, the
    first register, what is there, and what one of it is in the canonical unit of its quantity."""

    function: int
    order: str
    entries: tuple[tuple[int, str, float], ...]

    def __post_init__(self) -> None:
        if self.order not in ORDERS or self.function not in (3, 4):
            raise ValueError(f"expected an order of {', '.join(ORDERS)} and function 3 or 4")


# Voltage, current, power, energy (Wh, kept as J), frequency.
_DEMO = ((0, "V", 1.0), (2, "A", 1.0), (4, "W", 1.0), (6, "W.h", 3600.0), (8, "Hz", 1.0))

# The demonstration's own power meter, and the same with its words or bytes the other way round.
POWER_METERS: dict[str, FloatMap] = {
    "demo-power": FloatMap(4, "ABCD", _DEMO),
    "demo-power-words-swapped": FloatMap(4, "CDAB", _DEMO),
    "demo-power-bytes-swapped": FloatMap(4, "BADC", _DEMO),
    "demo-power-reversed": FloatMap(4, "DCBA", _DEMO),
}
