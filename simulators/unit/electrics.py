"""Mains, the board's supply for the fill valve, the level loop, and the resistances of the leads.

The valve's supply is AC through a bridge: its mean DC voltage is the ideal rectified mean, 0.900316 V rms for a
full and 0.450158 V rms for a half wave (2 sqrt 2 / pi and sqrt 2 / pi), less one diode or two. Ripple is left out:
the coil's inductance smooths the current to a few percent.
"""

from dataclasses import dataclass
from math import inf, pi, sqrt

HALF_WAVE = sqrt(2) / pi
DIODE = 0.7  # V, silicon, textbook
TEMPERATURE_OF_WATER = (
    0.02  # per K: conductivity of water over its value at 25 Cel, common practice, no source
)


@dataclass(frozen=True)
class Supply:
    """The bench socket: V without load, ohm of source, Hz."""

    volts: float
    ohm: float
    hertz: float

    def loaded(self, wander: float, ohms: float) -> float:
        """Volts at the socket with `ohms` of load; `wander` is the mains' own deviation as a factor."""
        volts = self.volts * wander
        return volts if ohms == inf else volts * ohms / (ohms + self.ohm)


@dataclass(frozen=True)
class ElectricParts:
    """Volts of the valve winding at 230 V mains, ohms, amps, and the probe's film and cell factor (1/cm)."""

    secondary: float
    output_ohm: float
    output_off_ohm: float  # what the board's dead output shows to a meter
    harness_ohm: float  # out and back
    chassis_ohm: float
    idle_amps: float
    bench_level_ohm: float  # threshold of the fixture's own level sense
    film_ohm: float
    cell: float
    earth_bond: float
    insulation: float


def water_ohm(cell: float, conductivity: float, celsius: float) -> float:
    """Resistance in ohm of water of `conductivity` uS/cm (at 25 Cel) in a cell of `cell` 1/cm."""
    return cell / (conductivity * 1e-6 * (1 + TEMPERATURE_OF_WATER * (celsius - 25.0)))


def parallel(a: float, b: float) -> float:
    """Two resistances side by side, either may be infinite."""
    if a == inf:
        return b
    if b == inf:
        return a
    return a * b / (a + b) if a + b > 0.0 else 0.0


def bridge_mean(volts_rms: float, paths: int) -> float:
    """Mean DC volts after a bridge of which `paths` (2, 1 or 0) half waves still conduct."""
    if paths == 0:
        return 0.0
    diodes = 2 * DIODE if paths == 2 else DIODE
    return max(0.0, paths * HALF_WAVE * volts_rms - diodes)
