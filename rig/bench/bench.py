"""The live bench: instruments and wiring at one place, on one clock. The only way to hardware."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

from rig.bench.clock import Clock
from rig.bench.meter_path import MeterPath
from rig.bench.outputs import Outputs
from rig.bench.ports import Analog, Answer, Hands, Inputs, Instrument, Meter, Relays
from rig.errors import InputError
from rig.events import Event
from rig.plan.wiring import Bench


@dataclass(frozen=True)
class QuantityReading:
    """A bench quantity in its canonical unit, with the raw counts it came from."""

    value: float
    raw: int


class LiveBench:
    """What the engine works with: ``outputs``, ``meter``, inputs, quantities, and the simulated person if any.

    ``emit`` returns when an event is safe on disk. Raises InputError when an instrument cannot do what the bench file
    says of it.
    """

    def __init__(
        self,
        wiring: Bench,
        instruments: Mapping[str, Instrument],
        hands: Hands | None,
        clock: Clock,
        emit: Callable[[Event], None],
    ) -> None:
        self.wiring, self.clock, self.hands = wiring, clock, hands
        self._zero = clock.now()
        self.instruments = instruments
        boards = {n: i for n, i in instruments.items() if isinstance(i, Relays)}
        self._modules = {n: i for n, i in instruments.items() if isinstance(i, Inputs) and n not in boards}
        self._analog = {n: i for n, i in instruments.items() if isinstance(i, Analog)}
        meters = {n: i for n, i in instruments.items() if isinstance(i, Meter)}
        _must_have(wiring, boards, self._modules, self._analog, meters)
        self.outputs = Outputs(wiring, boards, self._modules, clock, emit, self.since_start)
        self.meter = MeterPath(wiring, self.outputs, boards, meters, clock)

    def time(self) -> float:
        """Seconds since the bench was opened."""
        return self.clock.now() - self._zero

    def since_start(self, when: float) -> float:
        """A clock time as seconds since the bench was opened."""
        return when - self._zero

    async def state(self, name: str) -> Answer[str]:
        """An input's state in the bench's own word. Raises InstrumentError."""
        spec = self.wiring.inputs[name]
        read = await self._modules[spec.instrument].read()
        return Answer(spec.closed if read.value[spec.channel] else spec.open, read.asked, read.had)

    async def quantity(self, name: str) -> Answer[QuantityReading]:
        """A bench quantity now. Raises InstrumentError."""
        spec = self.wiring.quantities[name]
        read = await self._analog[spec.instrument].read_raw(spec.channel, 1)
        return Answer(QuantityReading(self.scale(name, read.value[0]), read.value[0]), read.asked, read.had)

    def scale(self, name: str, counts: float) -> float:
        """What raw counts mean: a straight line through the two points of the bench file, canonical unit."""
        spec = self.wiring.quantities[name]
        low, high = (m.canonical().value for m in spec.means)
        return low + (counts - spec.raw[0]) * (high - low) / (spec.raw[1] - spec.raw[0])

    async def close(self) -> None:
        """Let go of every link."""
        for instrument in self.instruments.values():
            await instrument.close()
        if self.hands is not None:
            await self.hands.close()


def _must_have(
    wiring: Bench,
    boards: Mapping[str, Relays],
    modules: Mapping[str, Inputs],
    analog: Mapping[str, Analog],
    meters: Mapping[str, Meter],
) -> None:
    needs = [
        *((f"output {n}", o.instrument, boards) for n, o in wiring.outputs.items()),
        *((f"input {n}", i.instrument, modules) for n, i in wiring.inputs.items()),
        *((f"quantity {n}", q.instrument, analog) for n, q in wiring.quantities.items()),
        *((f"test point {n}", t.meter, meters) for n, t in wiring.test_points.items()),
        *((f"selector of {n}", t.select.instrument, boards) for n, t in wiring.test_points.items()),
    ]
    for what, instrument, kind in needs:
        if instrument not in kind:
            raise InputError(f"{what}: the driver of {instrument} cannot do that", "Check the bench file.", instrument)
