"""The unit's own temperature and pressure sensors, as its board and its display have them."""

from math import inf, sqrt

from simulators.unit.electrics import PT100_A, PT100_B, pt100
from simulators.unit.lag import Lag
from simulators.unit.models import SensorParts

STEP_CELSIUS, STEP_PASCAL = 0.1, 500.0  # what the board resolves (invented)
NOISE_CELSIUS, NOISE_PASCAL = 0.02, 150.0  # one standard deviation (invented)
BROKEN = 850.0  # Cel that an open sensor reads as


def celsius_of(ohm: float) -> float:
    """The inverse of `pt100` by its quadratic (IEC 60751, 0 to 850 Cel)."""
    if ohm == inf:
        return BROKEN
    root = PT100_A * PT100_A - 4.0 * PT100_B * (1.0 - ohm / 100.0)
    return min(BROKEN, (-PT100_A + sqrt(root)) / (2.0 * PT100_B)) if root > 0.0 else BROKEN


class OwnSensors:
    """Follow the chamber with a lag; read with an offset, noise and steps. `noise` is drawn anew by the plant."""

    def __init__(self, parts: SensorParts, celsius: float, pascal: float) -> None:
        self.parts = parts
        self.noise = (0.0, 0.0)  # standard normal deviates
        self.joint_ohm = 0.0  # in the temperature sensor's own circuit
        self.pascal_off = 0.0  # Pa by which the pressure sensor has drifted
        self._celsius = Lag(parts.temperature_lag, celsius)
        self._pascal = Lag(parts.pressure_lag, pascal)

    def step(self, dt: float, celsius: float, pascal: float) -> None:
        """Follow for `dt` s."""
        self._celsius.step(dt, celsius)
        self._pascal.step(dt, pascal)

    def ohm(self) -> float:
        """Of the temperature sensor at its plug."""
        return pt100(self._celsius.value) + self.joint_ohm

    def celsius(self) -> float:
        """As the board has it."""
        read = celsius_of(self.ohm()) + self.parts.temperature_offset + NOISE_CELSIUS * self.noise[0]
        return round(read / STEP_CELSIUS) * STEP_CELSIUS

    def pascal(self) -> float:
        """Absolute, as the board has it."""
        read = self._pascal.value + self.parts.pressure_offset + self.pascal_off + NOISE_PASCAL * self.noise[1]
        return round(read / STEP_PASCAL) * STEP_PASCAL
