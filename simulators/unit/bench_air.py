"""The bench's compressed air for leak tests: supply through a regulator, relief, and a dump that stands open without
power. An isolating valve joins them to the chamber from the first supply on, until the pressure is gone.
"""

from math import pi, sqrt

from simulators.unit.steam import CHOKED, DISCHARGE, EXPANDS, GAS_AIR, KELVIN, Gas
from simulators.unit.valve_feed import Connections

REGULATED = 50e3  # Pa above ambient
RELIEF = 58e3  # Pa above ambient at which the bench's relief opens
GONE = 200.0  # Pa above ambient at which the isolating valve shuts again
SUPPLY_HOLE, DUMP_HOLE, RELIEF_HOLE = 1.6e-3, 4.0e-3, 5.0e-3  # m (invented)


class BenchAir:
    """Joined to the chamber, or not."""

    def __init__(self, ambient: float) -> None:
        self.joined_to_chamber = False
        self._ambient = ambient

    def moves(self, joined: Connections, gauge: float) -> bool:
        """Whether air may pass."""
        if joined.air_supply:
            self.joined_to_chamber = True
        elif self.joined_to_chamber and not joined.air_dump_shut and gauge < GONE:
            self.joined_to_chamber = False
        return self.joined_to_chamber and joined.air_supply

    def area(self, joined: Connections, gauge: float) -> float:
        """m2 through which the chamber's gas leaves by dump and relief."""
        if not self.joined_to_chamber:
            return 0.0
        square = 0.0 if joined.air_dump_shut else DUMP_HOLE**2
        return (square + (RELIEF_HOLE**2 if gauge > RELIEF else 0.0)) * pi / 4

    def step(self, dt: float, gas: Gas, joined: Connections) -> None:
        """Air flows in through the regulator's hole, backward Euler in the root of the difference as `Gas.breathe`."""
        source = self._ambient + REGULATED
        missing = source - gas.air - gas.vapour
        if missing <= 0.0:
            return
        density = source / (GAS_AIR * (20.0 + KELVIN))
        drive = min(missing, CHOKED * source)
        narrowed = DISCHARGE * SUPPLY_HOLE**2 * pi / 4 * (1.0 - EXPANDS * drive / source)
        speed = narrowed * sqrt(2.0 / density) * dt / gas.volume
        pull = speed * source
        root = (-pull + sqrt(pull * pull + 4.0 * drive)) / 2.0
        gas.air += speed * root * source
