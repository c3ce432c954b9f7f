"""Temperature sensors that a bench reads as ohms or volts: what they mean in Cel, and how far off that may be."""

from __future__ import annotations

from typing import Literal

from rig.judgement import pt100, thermocouple

Sensor = Literal["pt100", "pt1000", "type-k", "type-t"]
PLATINUM: dict[str, float] = {"pt100": 100.0, "pt1000": 1000.0}  # Ohm at 0 Cel
THERMOCOUPLES = {"type-k": "K", "type-t": "T"}
RULES: dict[str, str] = {
    "pt100": "Pt100, IEC 60751:2022",
    "pt1000": "Pt1000, IEC 60751:2022",
    "type-k": "thermocouple type K with its cold junction, ITS-90, NIST Monograph 175",
    "type-t": "thermocouple type T with its cold junction, ITS-90, NIST Monograph 175",
}


def celsius(sensor: str, read: float, cold: float = 0.0) -> float:
    """Temperature in Cel of a sensor that reads ``read`` (Ohm or V); ``cold`` is that of a thermocouple's terminals.
    Raises ValueError for what no such sensor reads."""
    if sensor in PLATINUM:
        return pt100.celsius(read, PLATINUM[sensor])
    return thermocouple.temperature(THERMOCOUPLES[sensor], read * 1e3, cold)


def slope(sensor: str, at: float) -> float:
    """What a sensor at ``at`` Cel reads more for one K: Ohm/K or V/K."""
    if sensor in PLATINUM:
        return pt100.slope(at, PLATINUM[sensor])
    return thermocouple.slope(THERMOCOUPLES[sensor], at) * 1e-3


def least_slope(sensor: str, low: float, high: float) -> float:
    """The least slope between two temperatures: at one of the ends for platinum, looked for every few K otherwise (type
    K has a shallow hump, NIST Monograph 175)."""
    steps = 64
    return min(slope(sensor, low + (high - low) * n / steps) for n in range(steps + 1))
