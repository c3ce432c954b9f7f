"""Functions that a formula may call, each a correction or conversion with a published rule behind it.

All take and give SI base units; a point on the Celsius scale counts in kelvin. What a run makes of them is named in the
record with the value before, the value after, and the rule.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from rig import steam
from rig.judgement.sensors import RULES, celsius
from rig.quantities import Dimension, unit

KELVIN = 273.15
ABOVE_SATURATION = "above-saturation"
COPPER = 235.0  # K, IEC 60034-1, 8.6.2.3


@dataclass(frozen=True)
class Correction:
    """A function: the units of what it takes and gives (``same`` for that of its first value), and its rule."""

    takes: tuple[str, ...]
    gives: str
    rule: str
    value: Callable[..., float]  # raises ValueError where there is none

    def dimensions(self) -> tuple[tuple[Dimension | None, ...], Dimension | None]:
        """Those of what it takes and of what it gives; None for any, which must then be the same throughout."""
        return tuple(_dimension(code) for code in self.takes), _dimension(self.gives)


SAME = "same"


def _dimension(code: str) -> Dimension | None:
    return None if code == SAME else unit(code).dimension


def _copper_at_20(ohms: float, kelvin: float) -> float:
    celsius = kelvin - KELVIN
    if celsius <= -COPPER:
        raise ValueError("copper-at-20 holds above -235 Cel only")
    return ohms * (COPPER + 20.0) / (COPPER + celsius)


def _winding_rise(warm: float, cold: float, at_cold: float, around: float) -> float:
    if cold <= 0:
        raise ValueError("winding-rise needs a cold resistance above zero")
    return warm / cold * (COPPER + at_cold - KELVIN) - (COPPER + around - KELVIN)


def _at_rated(power: float, volts: float, rated: float) -> float:
    if volts == 0:
        raise ValueError("power-at-rated needs a voltage")
    return power * (rated / volts) ** 2


CORRECTIONS: dict[str, Correction] = {
    "zeroed": Correction(
        (SAME, SAME),
        SAME,
        "a zero reading taken off: leads, fixture and relay contacts shorted, or a reference part's offset",
        lambda value, zero: value - zero,
    ),
    "copper-at-20": Correction(
        ("Ohm", "Cel"), "Ohm", "copper winding to 20 Cel, IEC 60034-1, 8.6.2.3, k = 235", _copper_at_20
    ),
    "winding-rise": Correction(
        ("Ohm", "Ohm", "Cel", "Cel"),
        "K",
        "rise of a copper winding by its resistance warm and cold, IEC 60034-1, 8.6.2.3, k = 235",
        _winding_rise,
    ),
    "power-at-rated": Correction(
        ("W", "V", "V"), "W", "power of a resistor at rated voltage: the square of rated over measured", _at_rated
    ),
    "absolute": Correction(
        ("Pa", "Pa"), "Pa", "gauge pressure with ambient pressure added", lambda gauge, ambient: gauge + ambient
    ),
    "pt100": Correction(("Ohm",), "Cel", RULES["pt100"], lambda ohms: celsius("pt100", ohms) + KELVIN),
    "pt1000": Correction(("Ohm",), "Cel", RULES["pt1000"], lambda ohms: celsius("pt1000", ohms) + KELVIN),
    "type-k": Correction(
        ("V", "Cel"), "Cel", RULES["type-k"], lambda volts, cold: celsius("type-k", volts, cold - KELVIN) + KELVIN
    ),
    "type-t": Correction(
        ("V", "Cel"), "Cel", RULES["type-t"], lambda volts, cold: celsius("type-t", volts, cold - KELVIN) + KELVIN
    ),
    "saturation-temperature": Correction(
        ("Pa",),
        "Cel",
        "saturated steam, IAPWS R7-97, region 4, from absolute pressure",
        lambda pascal: steam.saturation_temperature(pascal) + KELVIN,
    ),
    "saturation-pressure": Correction(
        ("Cel",),
        "Pa",
        "saturated steam, IAPWS R7-97, region 4",
        lambda kelvin: steam.saturation_pressure(kelvin - KELVIN),
    ),
    ABOVE_SATURATION: Correction(
        ("Cel", "Pa"),
        "K",
        "temperature less that of saturated steam at its absolute pressure, IAPWS R7-97, region 4",
        lambda kelvin, pascal: kelvin - KELVIN - steam.saturation_temperature(pascal),
    ),
}
