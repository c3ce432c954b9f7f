"""Proof that a circuit is dead, before ohms: three readings over a second, each below a voltage.

A test point behind an open contact says nothing of the contactor before it, so what is measured of the outputs
themselves must agree first."""

from __future__ import annotations

from collections.abc import Awaitable, Callable

from rig.bench.clock import Clock
from rig.bench.outputs import Outputs
from rig.errors import InstrumentError, OverRange, Stopped
from rig.plan.safety import Circuit
from rig.plan.wiring import Bench
from rig.quantities import Quantity

READINGS, OVER = 3, 1.0  # readings, and the seconds between the first and the last

Read = Callable[[str, str, Quantity, int, float], Awaitable[tuple[float, ...]]]


class DeadProof:
    """Keeps what is proved: until anything that can be dangerous is turned on again. ``read`` takes volts at a test
    point: point, function, range, count, seconds between two."""

    def __init__(self, wiring: Bench, outputs: Outputs, clock: Clock, read: Read) -> None:
        self._wiring, self._outputs, self._clock, self._read = wiring, outputs, clock, read
        self._proved: dict[str, int] = {}

    async def ensure(self, name: str) -> None:
        """Prove a circuit dead, unless it was since the last energizing. Raises Stopped when it is not, or when the
        bench file does not say how; InstrumentError."""
        circuit = self._wiring.circuits.get(name)
        if circuit is None:
            raise Stopped(f"the bench file does not say how circuit {name} is proved dead", "Add it to circuits.", name)
        if circuit.never_live is not None:
            return
        await self._measured(name)
        if self._proved.get(name) == self._outputs.energizings:
            return
        await self._prove(name, circuit)
        self._proved[name] = self._outputs.energizings

    async def _measured(self, name: str) -> None:
        """Asked before every reading in ohms: what came on by itself did not end the proof."""
        try:
            live = await self._outputs.measured_on()
        except InstrumentError as error:
            raise _unproved(error) from error
        if live is not None:
            what = f"is not dead: {live} is on by what is measured, and its feedback says off"
            raise Stopped(what, "Do not touch. Find out where the voltage comes from.", name)

    async def _prove(self, name: str, circuit: Circuit) -> None:
        for function in circuit.functions:
            await self._prove_with(name, circuit, function)

    async def _prove_with(self, name: str, circuit: Circuit, function: str) -> None:
        assert circuit.test_point is not None and circuit.range is not None and circuit.below is not None
        try:
            volts = await self._read(circuit.test_point, function, circuit.range, READINGS, OVER / (READINGS - 1))
        except OverRange as error:
            raise Stopped("is live: more than the range of the meter", "Do not touch. Find out why.", name) from error
        except InstrumentError as error:
            raise _unproved(error) from error
        worst = max(abs(v) for v in volts)
        if worst >= circuit.below.to("V"):
            kind = function.removesuffix(" volts")
            what = f"is not dead: {worst:.3g} V {kind} at {circuit.test_point}, allowed below {circuit.below}"
            raise Stopped(what, "Do not touch. Find out where the voltage comes from.", name)


def _unproved(error: InstrumentError) -> InstrumentError:
    return type(error)(f"cannot be proved dead: {error.what}", error.do, error.culprit)
