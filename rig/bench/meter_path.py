"""The multimeter and the relays that lead to it: one test point at a time."""

from __future__ import annotations

from collections.abc import AsyncIterator, Awaitable, Callable, Mapping, Sequence
from contextlib import asynccontextmanager
from dataclasses import dataclass
from datetime import date

from rig.bench.clock import Clock
from rig.bench.dead import DeadProof
from rig.bench.outputs import Outputs
from rig.bench.ports import Meter, Relays
from rig.errors import RECOVERABLE, OutputError, OverRange, Stopped
from rig.judgement.accuracy import Statement
from rig.plan.energy import OHMS, why_no_ohms
from rig.plan.stated import statement_of, why_none
from rig.plan.wiring import Bench, Select, TestPoint
from rig.quantities import Quantity

PATH_SETTLES = 0.05  # multiplexer relays settle within 30 to 50 ms (common practice, no source)
METER_BUSY_EVERY = 0.05

FUNCTION_UNITS = {
    "DC volts": "V", "AC volts": "V", "DC amps": "A", "AC amps": "A", "resistance": "Ohm",
    "resistance four-wire": "Ohm", "diode": "V", "continuity": "Ohm", "frequency": "Hz",
}  # fmt: skip


@dataclass(frozen=True)
class MeterReading:
    """Readings of the meter at a test point in ``unit``, as the meter gave them (volts across a shunt stay volts).

    ``statement`` is the accuracy statement for the function and the range that were used, None where the bench file has
    none that holds; ``unstated`` then says why."""

    values: tuple[float, ...]
    unit: str
    full_scale: float | None
    statement: Statement | None
    unstated: str
    shunt: float | None  # Ohm
    shunt_accuracy: float  # share


class MeterPath:
    """Switches the meter to a test point, reads it, and takes it off again."""

    def __init__(
        self, wiring: Bench, outputs: Outputs, boards: Mapping[str, Relays], meters: Mapping[str, Meter], clock: Clock
    ) -> None:
        self._wiring, self._outputs, self._boards, self._meters, self._clock = wiring, outputs, boards, meters, clock
        self._selected: dict[tuple[str, int], None] = {}
        self._busy = False
        self._dead = DeadProof(wiring, outputs, clock, self._volts)
        self.today = date.today()  # the day on which papers must hold; once a run, so that midnight changes nothing
        self.by_hand: Callable[[str, str], Awaitable[float]] = _nobody  # test point and function: volts, by a person

    async def measure(self, point: str, function: str, full_scale: Quantity | None, count: int) -> MeterReading:
        """Read a test point ``count`` times. Raises Stopped when ohms are not allowed now, OverRange, InstrumentError,
        OutputError."""
        spec = self._wiring.test_points[point]
        await self.allow(point, function)
        asked, scale = _through_shunt(spec, function, full_scale)
        meter = self._meters[spec.meter]
        async with self._connected(spec):
            values: list[float] = []
            for _ in range(count):
                try:
                    values.append((await meter.measure(asked, scale)).value)
                except OverRange as error:
                    error.raw = (*values, *error.raw)
                    raise
        return self._reading(spec, asked, scale, tuple(values))

    async def allow(self, point: str, function: str) -> None:
        """Whether this function may be measured at a test point now, by whatever instrument: ohms only when the circuit
        is proved dead. Raises as ``measure``."""
        if function not in OHMS:
            return
        reason = why_no_ohms(self._wiring, self._outputs.drive, self._outputs.on)
        if reason is not None:
            raise Stopped(reason, "Take this reading in a dead stage.", point)
        await self._dead.ensure(self._wiring.test_points[point].on)

    async def _volts(
        self, point: str, function: str, full_scale: Quantity, count: int, every: float
    ) -> tuple[float, ...]:
        """Voltages at a test point, so many seconds apart; one, where a person reads it."""
        if self._wiring.test_points[point].bus is None:
            return (await self.by_hand(point, function),)
        asked, scale = _through_shunt(self._wiring.test_points[point], function, full_scale)
        spec, values = self._wiring.test_points[point], []
        async with self._connected(spec):
            begun = self._clock.now()
            for n in range(count):
                await self._clock.sleep_until(begun + n * every)
                values.append((await self._meters[spec.meter].measure(asked, scale)).value)
        return tuple(values)

    async def record(
        self, point: str, full_scale: Quantity | None, interval: float, count: int, energize: Sequence[str]
    ) -> MeterReading:
        """Record voltages at a test point while outputs are turned on, then off: the record starts first. Raises as
        ``measure``."""
        spec = self._wiring.test_points[point]
        asked, scale = _through_shunt(spec, "DC amps" if spec.shunt else "DC volts", full_scale)
        meter = self._meters[spec.meter]
        async with self._connected(spec):
            begun = await meter.start_record(scale if scale is not None else 1.0, interval, count)
            for output in energize:
                await self._outputs.turn_on(output)
            await self._clock.sleep_until(begun.had + interval * count)
            values = (await meter.fetch_record()).value
            for output in reversed(energize):
                await self._outputs.turn_off(output)
        return self._reading(spec, asked, scale, values)

    @asynccontextmanager
    async def _connected(self, spec: TestPoint) -> AsyncIterator[None]:
        """The meter on a test point. After an error that ends the run the path stays as it is: all-off drops it."""
        if spec.bus is None or spec.select is None:
            raise Stopped("no relays lead the meter there", "Take this reading by hand.", spec.meter)
        bus, select = spec.bus, spec.select
        while self._busy:
            await self._clock.sleep(METER_BUSY_EVERY)
        self._busy = True
        try:
            await self._clear()
            added = [o for o in [*spec.needs_on, bus] if o not in self._outputs.on]
            for output in added:
                await self._outputs.turn_on(output)
            await self._select(select, True)
            await self._clock.sleep(PATH_SETTLES)
            try:
                yield
            except RECOVERABLE:
                await self._disconnect(select, added)
                raise
            await self._disconnect(select, added)
        finally:
            self._busy = False

    async def _disconnect(self, select: Select, added: Sequence[str]) -> None:
        await self._select(select, False)
        for output in reversed(added):
            await self._outputs.turn_off(output)

    async def _clear(self) -> None:
        """Take off what a step that was cut short has left: one meter path at a time, one bus at a time."""
        for instrument, channel in list(self._selected):
            await self._select(Select.model_construct(instrument=instrument, channel=channel), False)
        buses = {point.bus for point in self._wiring.test_points.values()}
        for output in [o for o in self._outputs.on if o in buses]:
            await self._outputs.turn_off(output)

    async def _select(self, select: Select, on: bool) -> None:
        """A selector carries the meter alone: the board's own read-back is its feedback."""
        board = self._boards[select.instrument]
        self._selected[select.instrument, select.channel] = None
        await board.write(select.channel, on)
        coils = (await board.read()).value
        if coils[select.channel] != on:
            raise OutputError(
                f"selector {select.channel} was told to turn {'on' if on else 'off'} and says otherwise",
                "Check the relay board's supply.",
                select.instrument,
            )
        if not on:
            del self._selected[select.instrument, select.channel]

    def _reading(self, spec: TestPoint, asked: str, scale: float | None, values: tuple[float, ...]) -> MeterReading:
        used, statement, unstated = self._stated(spec, asked, scale)
        return MeterReading(
            values,
            FUNCTION_UNITS[asked],
            used,
            statement,
            unstated,
            None if spec.shunt is None else spec.shunt.to("Ohm"),
            0.0 if spec.shunt_accuracy is None else spec.shunt_accuracy.to("1"),
        )

    def range_used(self, point: str, function: str, full_scale: Quantity | None) -> tuple[float, Statement] | None:
        """Full scale of the range that such a reading is taken on, with its accuracy statement; None if not known."""
        spec = self._wiring.test_points[point]
        used, statement, _ = self._stated(spec, *_through_shunt(spec, function, full_scale))
        return None if used is None or statement is None else (used, statement)

    def _stated(self, spec: TestPoint, asked: str, scale: float | None) -> tuple[float | None, Statement | None, str]:
        used, today = self._meters[spec.meter].range_for(asked, scale), self.today
        statement = statement_of(self._wiring, spec.meter, asked, used, today)
        return used, statement, "" if statement else why_none(self._wiring, spec.meter, asked, used, today)


async def _nobody(point: str, function: str) -> float:
    raise Stopped("nobody is there to read it by hand", "Run it with a person at the bench.", point)


def _through_shunt(spec: TestPoint, function: str, full_scale: Quantity | None) -> tuple[str, float | None]:
    """What to ask of the meter, and on what scale: amps through a shunt are volts."""
    if spec.shunt is None or function not in ("DC amps", "AC amps"):
        return function, None if full_scale is None else full_scale.to(FUNCTION_UNITS[function])
    volts = "DC volts" if function == "DC amps" else "AC volts"
    return volts, None if full_scale is None else full_scale.to("A") * spec.shunt.to("Ohm")
