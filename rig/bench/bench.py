"""The live bench: instruments and wiring at one place, on one clock. The only way to hardware."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from rig.bench.clock import Clock
from rig.bench.interlocks import Interlocks
from rig.bench.meter_path import MeterPath
from rig.bench.outputs import Outputs
from rig.bench.ports import Analog, ByHand, Gauge, Hands, Inputs, Instrument, Meter, Relays
from rig.bench.readers import Readers
from rig.errors import InputError
from rig.events import Event
from rig.plan.wiring import Bench


class LiveBench:
    """What the engine works with: ``outputs``, ``meter``, inputs, quantities, and the simulated person if any.

    ``emit`` returns when an event is safe on disk; ``told`` is what drivers tell of oddities. Raises InputError when an
    instrument cannot do what the bench file says of it.
    """

    def __init__(
        self,
        wiring: Bench,
        instruments: Mapping[str, Instrument],
        hands: Hands | None,
        clock: Clock,
        emit: Callable[[Event], None],
        told: list[str] | None = None,
    ) -> None:
        self.wiring, self.clock, self.hands = wiring, clock, hands
        self._told: list[str] = [] if told is None else told
        self._zero = clock.now()
        self.instruments = instruments
        self.void: dict[str, str] = {}  # instruments whose calibration does not count, and why
        boards = {n: i for n, i in instruments.items() if isinstance(i, Relays)}
        typed: dict[str, Instrument] = {n: i for n, i in instruments.items() if isinstance(i, ByHand)}
        modules = {n: i for n, i in instruments.items() if isinstance(i, Inputs) and n not in boards}
        analog = {n: i for n, i in instruments.items() if isinstance(i, Analog)}
        meters = {n: i for n, i in instruments.items() if isinstance(i, Meter)}
        gauges = {n: i for n, i in instruments.items() if isinstance(i, Gauge)}
        _must_have(wiring, boards, {**modules, **typed}, {**analog, **gauges, **typed}, {**meters, **typed})
        self.readers = Readers(wiring, modules, analog, gauges)
        self.outputs = Outputs(wiring, boards, self.readers, clock, emit, self.since_start)
        self.interlocks = Interlocks(wiring, self.readers, self.outputs, clock)
        self.meter = MeterPath(wiring, self.outputs, boards, meters, clock)
        self.state = self.readers.state
        self.quantity = self.readers.quantity

    def tell(self, text: str) -> None:
        """Something that belongs on record and is no event of the run's own: it comes with the next oddities."""
        self._told.append(text)

    def oddities(self) -> list[str]:
        """What the drivers have told of since this was last asked: a link put in order again, an attempt more."""
        told, self._told[:] = list(self._told), []
        return told

    def time(self) -> float:
        """Seconds since the bench was opened."""
        return self.clock.now() - self._zero

    def since_start(self, when: float) -> float:
        """A clock time as seconds since the bench was opened."""
        return when - self._zero

    async def close(self) -> None:
        """Let go of every link."""
        for instrument in self.instruments.values():
            await instrument.close()
        if self.hands is not None:
            await self.hands.close()


def _must_have(
    wiring: Bench,
    boards: Mapping[str, Relays],
    modules: Mapping[str, Instrument],
    analog: Mapping[str, Instrument],
    meters: Mapping[str, Instrument],
) -> None:
    needs = [
        *((f"output {n}", o.instrument, boards) for n, o in wiring.outputs.items()),
        *((f"input {n}", i.instrument, modules) for n, i in wiring.inputs.items()),
        *((f"quantity {n}", q.instrument, analog) for n, q in wiring.quantities.items()),
        *((f"test point {n}", t.meter, meters) for n, t in wiring.test_points.items()),
        *((f"selector of {n}", t.select.instrument, boards) for n, t in wiring.test_points.items() if t.select),
    ]
    for what, instrument, kind in needs:
        if instrument not in kind:
            raise InputError(f"{what}: the driver of {instrument} cannot do that", "Check the bench file.", instrument)
