"""Mains, the board's supply for the fill valve, the level loop, and the resistances of the leads.

A bridge's mean DC voltage into a resistance is the ideal rectified mean, sqrt 2 / pi of the rms value for each half
wave, less its diodes.
"""

from dataclasses import dataclass
from math import inf, pi, sqrt

HALF_WAVE = sqrt(2) / pi
DIODE = 0.7  # V, silicon, textbook
ROOM, HALVES_IN = 25.0, 30.0  # Cel, K: see insulation_at
TEMPERATURE_OF_WATER = 0.02  # per K: conductivity of water over its value at 25 Cel, common practice, no source


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
    rectifier: str  # "none", "separate" or "moulded", of the fill valve
    lost_half: int  # the half wave that a failing diode of it loses, 1 or -1
    phase: float  # of the mains at time 0, rad
    output_ohm: float
    fuse_amps: float  # at which the self-resetting fuse in the board's output trips in the end
    output_off_ohm: float  # what the board's dead output shows to a meter
    harness_ohm: float  # out and back
    chassis_ohm: float
    idle_amps: float
    bench_level_ohm: float  # threshold of the fixture's own level sense
    film_ohm: float
    cell: float
    earth_bond: float
    insulation: float
    sub_47k: float  # the fixture's resistors in place of water
    sub_1m: float


def water_ohm(cell: float, conductivity: float, celsius: float) -> float:
    """Resistance in ohm of water of `conductivity` uS/cm (at 25 Cel) in a cell of `cell` 1/cm."""
    return cell / (conductivity * 1e-6 * (1 + TEMPERATURE_OF_WATER * (celsius - 25.0)))


def insulation_at(cold: float, celsius: float) -> float:
    """Insulation of a sheathed heater whose resistance is `cold` in a room, in the same unit, at `celsius`. It falls
    exponentially: for windings it halves every 10 K (IEEE 43, from memory), here every HALVES_IN (invented)."""
    return cold * float(0.5 ** (max(0.0, celsius - ROOM) / HALVES_IN))


def parallel(a: float, b: float) -> float:
    """Two resistances side by side, either may be infinite."""
    if a == inf:
        return b
    if b == inf:
        return a
    return a * b / (a + b) if a + b > 0.0 else 0.0


def bridge_mean(volts_rms: float, share: float) -> float:
    """Mean DC volts after a bridge: one half wave whole, of the other `share` (1 healthy, 0 a dead path)."""
    return max(0.0, (1.0 + share) * (HALF_WAVE * volts_rms - DIODE))


PT100_A, PT100_B = 3.9083e-3, -5.775e-7  # IEC 60751


def pt100(celsius: float) -> float:
    """Ohm of a platinum sensor of 100 Ohm at `celsius` (0 to 850): 100 (1 + A t + B t^2), IEC 60751."""
    return 100.0 * (1.0 + PT100_A * celsius + PT100_B * celsius * celsius)
