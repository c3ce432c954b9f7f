"""Reading contacts and analog channels, and remembering the last value of each with its time.

Interlocks judge what was last read, whoever read it: a poll of the engine serves them too, and a value that is too old
counts as none.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import NamedTuple

from rig.bench.ports import Analog, Answer, Gauge, Inputs
from rig.errors import BadAnswer
from rig.judgement.sensors import celsius
from rig.plan.channels import QuantitySpec, SensorSpec
from rig.plan.stated import certificate_of
from rig.plan.wiring import Bench

BEYOND = 0.05  # of the span that the bench file gives: how far past its ends an instrument still shows something


class QuantityReading(NamedTuple):
    """A bench quantity in its canonical unit, with the raw counts it came from, or what was read where there are none;
    ``cold`` is the temperature (Cel) of a thermocouple's terminals."""

    value: float
    raw: float
    cold: float | None = None


class Readers:
    """The input and analog modules of a bench."""

    def __init__(
        self,
        wiring: Bench,
        modules: Mapping[str, Inputs],
        analog: Mapping[str, Analog],
        gauges: Mapping[str, Gauge],
    ) -> None:
        self._wiring, self._modules, self._analog, self._gauges = wiring, modules, analog, gauges
        self._scales = {name: _scale(spec) for name, spec in wiring.quantities.items() if spec.raw is not None}
        self._certificates = {name: certificate_of(spec) for name, spec in wiring.quantities.items()}
        self._inputs: dict[str, Answer[tuple[bool, ...]]] = {}
        self._quantities: dict[str, Answer[QuantityReading]] = {}
        self.watchers: list[Callable[[str, Answer[QuantityReading]], None]] = []  # told of every quantity

    async def inputs(self, module: str) -> Answer[tuple[bool, ...]]:
        """All contacts of a module, in one exchange. Raises InstrumentError."""
        answer = self._inputs[module] = await self._modules[module].read()
        return answer

    async def state(self, name: str) -> Answer[str]:
        """An input's state in the bench's own word. Raises InstrumentError."""
        return self._worded(name, await self.inputs(self._wiring.inputs[name].instrument))

    async def quantity(self, name: str) -> Answer[QuantityReading]:
        """A bench quantity now. Raises InstrumentError."""
        spec = self._wiring.quantities[name]
        if spec.sensor is not None:
            answer = await self._sensed(name, spec, spec.sensor)
        elif spec.raw is None:
            given = await self._gauges[spec.instrument].read_value(spec.channel)
            _within(spec, name, given.value)
            answer = Answer(QuantityReading(given.value, given.value), given.asked, given.had)
        else:
            read = await self._analog[spec.instrument].read_raw(spec.channel, 1)
            raw, (counts, least, most, span) = read.value[0], self._scales[name]
            value = least + (raw - counts) * (most - least) / span
            answer = Answer(QuantityReading(value, raw), read.asked, read.had)
        answer = self._quantities[name] = self._corrected(name, answer)
        for watcher in self.watchers:
            watcher(name, answer)
        return answer

    def _corrected(self, name: str, answer: Answer[QuantityReading]) -> Answer[QuantityReading]:
        """By the calibration certificate of the channel, where it has one."""
        certificate, said = self._certificates[name], answer.value
        if certificate is None:
            return answer
        right = said.value + certificate.correction(said.value)[0]
        return Answer(said._replace(value=right), answer.asked, answer.had)

    async def _sensed(self, name: str, spec: QuantitySpec, sensor: SensorSpec) -> Answer[QuantityReading]:
        """The temperature of a sensor, from its ohms or volts. Raises BadAnswer for what no such sensor reads."""
        cold = None if sensor.cold_junction is None else (await self.quantity(sensor.cold_junction)).value.value
        said: Answer[float]
        if spec.raw is None:
            said = await self._gauges[spec.instrument].read_value(spec.channel)
        else:
            counts = await self._analog[spec.instrument].read_raw(spec.channel, 1)
            said = Answer(float(counts.value[0]), counts.asked, counts.had)
        read = spec.electrical(said.value)
        try:
            value = celsius(sensor.kind, read, cold or 0.0)
        except ValueError as error:
            what = f"{name} reads what no {sensor.kind} does: {error}"
            raise BadAnswer(what, "Check the sensor, its leads and its terminals.", spec.instrument) from error
        return Answer(QuantityReading(value, said.value, cold), said.asked, said.had)

    def last_inputs(self, module: str) -> Answer[tuple[bool, ...]] | None:
        """What was last read of a module."""
        return self._inputs.get(module)

    def last_state(self, name: str) -> Answer[str] | None:
        """What was last read of an input."""
        answer = self._inputs.get(self._wiring.inputs[name].instrument)
        return None if answer is None else self._worded(name, answer)

    def last_quantity(self, name: str) -> Answer[QuantityReading] | None:
        """What was last read of a quantity."""
        return self._quantities.get(name)

    def _worded(self, name: str, answer: Answer[tuple[bool, ...]]) -> Answer[str]:
        spec = self._wiring.inputs[name]
        return Answer(spec.closed if answer.value[spec.channel] else spec.open, answer.asked, answer.had)


def _scale(spec: QuantitySpec) -> tuple[float, float, float, float]:
    """The straight line through the two points of the bench file: the first point's counts; what both mean, canonical
    unit; the counts between them."""
    assert spec.raw is not None
    low, high = (m.canonical().value for m in spec.means)
    return spec.raw[0], low, high, spec.raw[1] - spec.raw[0]


def _within(spec: QuantitySpec, name: str, value: float) -> None:
    """A value that is given as it is must lie where the instrument can show it at all. Raises BadAnswer."""
    low, high = sorted(m.canonical().value for m in spec.means)
    slack = BEYOND * (high - low)
    if not low - slack <= value <= high + slack:
        what = f"{name} is {value:.4g}, beyond what {spec.instrument} can show ({spec.means[0]} to {spec.means[1]})"
        raise BadAnswer(what, "Check its channel, its map and the order of its words.", spec.instrument)
