"""Errors of the simulated instruments: offset, noise and resolution, all within the stated accuracy.

Every channel draws from a random stream of its own, seeded with a string, so that reading one channel more
often never changes what another one shows. The accuracies are invented with the demonstration bench.
"""

import random
from dataclasses import dataclass
from math import pi, sin

# Shares of the stated limit of error. They sum to less than 1, so that no reading lies outside its statement.
OFFSET_SHARE = 0.6
NOISE_SHARE = 0.1  # one standard deviation
NOISE_CUT = 3.0  # standard deviations


def stream(seed: int, *name: str) -> random.Random:
    """The random stream of one channel (a string seed is hashed alike in every process)."""
    return random.Random("/".join((str(seed), *name)))


def noise(source: random.Random) -> float:
    """A standard normal deviate cut at NOISE_CUT."""
    return max(-NOISE_CUT, min(NOISE_CUT, source.gauss(0.0, 1.0)))


class Wander:
    """An error that goes slowly up and down by ``furthest`` from end to end: half of it as a swing of ten minutes to an
    hour, half as one three to five times as slow."""

    def __init__(self, source: random.Random, furthest: float) -> None:
        first = source.uniform(600.0, 3600.0)
        periods = (first, first * source.uniform(3.0, 5.0))
        self._swings = [(2.0 * pi / period, source.uniform(0.0, 2.0 * pi)) for period in periods]
        self._each = furthest / 4.0

    def at(self, now: float) -> float:
        """The error at `now` s."""
        return self._each * sum(sin(rate * now + phase) for rate, phase in self._swings)


@dataclass(frozen=True)
class Module:
    """A Modbus module of the bench: its device number, what it is, its serial number."""

    device: int
    sort: str
    serial: str


# By the name that the bench file gives them, too.
MODULES: dict[str, Module] = {
    "relays-1": Module(1, "relays", "SIM-R1"),
    "relays-2": Module(4, "relays", "SIM-R2"),
    "inputs-1": Module(2, "inputs", "SIM-I1"),
    "analog-1": Module(3, "analog", "SIM-A1"),
    "power-1": Module(5, "power", "SIM-P1"),
}


@dataclass(frozen=True)
class Scale:
    """A linear channel of the analog module: counts `raw` mean `means`; `accuracy` is the limit of error, `drift` how
    far the error goes while a unit is on the bench."""

    raw: tuple[int, int]
    means: tuple[float, float]
    accuracy: float
    drift: float = 0.0


# Input registers of the analog module: Cel, Pa, A, V, g. Channels that are not named are not wired.
ANALOG: dict[int, Scale] = {
    0: Scale((0, 20000), (0.0, 200.0), 0.3),
    2: Scale((0, 20000), (0.0, 200.0), 0.5),
    3: Scale((0, 20000), (0.0, 200.0), 0.3),
    4: Scale((0, 20000), (0.0, 400e3), 1e3, 60.0),
    5: Scale((0, 20000), (0.0, 5e3), 10.0),
    6: Scale((0, 20000), (0.0, 20.0), 0.03),
    7: Scale((0, 30000), (0.0, 300.0), 0.6),
    8: Scale((0, 30000), (0.0, 3000.0), 1.0, 0.15),
    9: Scale((0, 20000), (0.0, 2.0), 0.002),
}


class AnalogInput:
    """One channel of the analog module: a true value in, counts out."""

    def __init__(self, channel: int, scale: Scale, seed: int) -> None:
        self._scale = scale
        self._source = stream(seed, "analog", str(channel))
        self._offset = self._source.uniform(-OFFSET_SHARE, OFFSET_SHARE) * scale.accuracy
        self._wander = Wander(stream(seed, "analog", str(channel), "drift"), scale.drift)

    def counts(self, value: float, now: float = 0.0) -> int:
        """Counts for a true value at `now` s, clamped to the ends of the channel."""
        (low, high), (from_value, to_value) = self._scale.raw, self._scale.means
        shown = value + self._offset + self._wander.at(now) + NOISE_SHARE * self._scale.accuracy * noise(self._source)
        share = (shown - from_value) / (to_value - from_value)
        return round(low + max(0.0, min(1.0, share)) * (high - low))


@dataclass(frozen=True)
class Accuracy:
    """Limit of error as shares: of the reading, and of the range."""

    of_reading: float
    of_range: float


@dataclass(frozen=True)
class Function:
    """One function of the meter: its ranges (ascending), the accuracy on each (the last given holds on)."""

    ranges: tuple[float, ...]
    accuracies: tuple[Accuracy, ...]

    def accuracy(self, on: float) -> Accuracy:
        return self.accuracies[min(self.ranges.index(on), len(self.accuracies) - 1)]


_OHMS = (100.0, 1e3, 10e3, 100e3, 1e6, 10e6, 100e6)

# By the plant's word for what the meter sees. The bench file states the same limits where it names a range.
METER: dict[str, Function] = {
    "volts-dc": Function((0.1, 1.0, 10.0, 100.0, 1000.0), (Accuracy(5e-5, 4e-5), Accuracy(5e-5, 1e-5))),
    "volts-ac": Function((0.1, 1.0, 10.0, 100.0, 750.0), (Accuracy(1e-3, 5e-4),)),
    "ohms-2w": Function(_OHMS, (Accuracy(5e-4, 1e-4),)),
    "ohms-4w": Function((10.0, *_OHMS), (Accuracy(1e-4, 1e-4), Accuracy(1e-4, 4e-5))),
    "amps-dc": Function((1.0, 3.0), (Accuracy(5e-4, 1e-4),)),
    "amps-ac": Function((1.0, 3.0), (Accuracy(1e-3, 5e-4),)),
    "diode": Function((10.0,), (Accuracy(5e-4, 1e-4),)),
    "frequency": Function((1e3,), (Accuracy(1e-4, 1e-5),)),
}

METER_RESOLUTION = 1e-6  # of range, six and a half digits


class MeterErrors:
    """The meter's errors: gain and zero are drawn once a seed and range, noise for each reading."""

    def __init__(self, seed: int) -> None:
        self._seed = seed
        self._drawn: dict[tuple[str, float], tuple[float, float, random.Random]] = {}

    def shown(self, function: str, on: float, value: float) -> float:
        """What the meter shows on the range `on` for a true (finite) value, in the function's unit."""
        accuracy = METER[function].accuracy(on)
        gain, zero, source = self._errors(function, on)
        raw = value * (1.0 + gain * accuracy.of_reading)
        raw += accuracy.of_range * on * (zero + NOISE_SHARE * noise(source))
        step = METER_RESOLUTION * on
        return round(raw / step) * step

    def _errors(self, function: str, on: float) -> tuple[float, float, random.Random]:
        key = (function, on)
        if key not in self._drawn:
            source = stream(self._seed, "meter", function, f"{on:g}")
            gain, zero = (
                source.uniform(-OFFSET_SHARE, OFFSET_SHARE),
                source.uniform(-OFFSET_SHARE, OFFSET_SHARE),
            )
            self._drawn[key] = gain, zero, source
        return self._drawn[key]
