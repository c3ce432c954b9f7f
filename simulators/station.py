"""Puts a simulated bench together: one plant, three listeners on the loopback, and the clock to live by."""

import asyncio
import math
import time
from collections.abc import Callable, Mapping
from typing import Any

from simulators.clock import LockstepClock
from simulators.plant import Plant
from simulators.unit.faults import FAULTS
from simulators.wire import FarEnd, Link, Pace
from simulators.wire.meter import Meter
from simulators.wire.modbus import ModbusGateway, bench_devices
from simulators.wire.person import Person
from simulators.wire.scpi import ScpiInstrument

PLANT_PERIOD = 0.05  # wall seconds between two looks of the plant at the time, at real pace
LONGEST_PERSON_WAIT = 2.0  # wall seconds: at real pace the simulated person never takes longer
LISTENERS = {"modbus": "modbus", "meter": "scpi", "person": "person"}  # link: what is spoken on it


class Station:
    """A running simulated station. Its links are "modbus", "meter" and "person".

    `addresses` gives host and port of each, `exchanges` counts the requests on each, `clock` is None at real
    pace.
    """

    def __init__(self, plant: Plant, seed: int = 0, lockstep: bool = True, speed: float = 1.0) -> None:
        self.plant = plant
        self.clock = LockstepClock() if lockstep else None
        self.addresses: dict[str, tuple[str, int]] = {}
        self.exchanges = dict.fromkeys(LISTENERS, 0)
        self._pace = Pace(self.clock.now, self.clock) if self.clock else Pace(_wall(speed), None, speed)
        meter = Meter(plant, seed)
        far_ends: dict[str, FarEnd] = {
            "modbus": ModbusGateway(bench_devices(plant, seed), plant.advance, seed),
            "meter": ScpiInstrument(meter.interpreter, meter.advance),
            "person": Person(plant),
        }
        waits = {"person": LONGEST_PERSON_WAIT}
        self._links = {
            name: Link(name, far_end, self._pace, self.exchanges, waits.get(name, math.inf))
            for name, far_end in far_ends.items()
        }
        self._ticker: asyncio.Task[None] | None = None

    async def open(self) -> None:
        """Start listening, and at real pace let the plant follow the time."""
        for name, link in self._links.items():
            self.addresses[name] = await link.open()
        if self.clock is None:
            self._ticker = asyncio.get_running_loop().create_task(self._follow(), name="plant")

    async def close(self) -> None:
        """Close all listeners and connections. Safe to call twice. Raises what went wrong in the plant."""
        for link in self._links.values():
            await link.close()
        ticker, self._ticker = self._ticker, None
        if ticker is not None:
            ticker.cancel()
            await asyncio.wait([ticker])
            if not ticker.cancelled():
                ticker.result()

    async def close_listener(self, name: str) -> None:
        """Close one listener and abort its connections, as a pulled cable does. KeyError: no such link."""
        await self._links[name].close()

    async def _follow(self) -> None:
        while True:
            self.plant.advance(self._pace.now())
            await asyncio.sleep(PLANT_PERIOD)


async def start(
    unit: str = "demo-18-dc",
    faults: Mapping[str, float] | None = None,
    seed: int = 0,
    lockstep: bool = True,
    speed: float = 1.0,
) -> Station:
    """A station with this unit on it. At real pace its time is the wall's times `speed`.

    Raises the plant's ValueErrors for an unknown unit or fault, or a fault that the unit cannot have;
    ValueError for a speed that is not positive.
    """
    if not (speed > 0.0 and math.isfinite(speed)):
        raise ValueError(f"the speed of a station is a positive number, not {speed}")
    station = Station(Plant(unit, seed, faults), seed, lockstep, speed)
    try:
        await station.open()
    except BaseException:
        await station.close()
        raise
    return station


def list_faults() -> list[dict[str, Any]]:
    """Every fault that a simulated unit can have: name, line, noticed, site, units."""
    return [
        {
            "name": fault.name,
            "line": fault.line,
            "noticed": fault.noticed,
            "site": fault.site,
            "units": sorted(fault.units),
        }
        for fault in FAULTS.values()
    ]


def listener_lines(station: Station) -> list[str]:
    """One line a listener: what it speaks, and where."""
    return [f"{LISTENERS[name]} tcp {host}:{port}" for name, (host, port) in station.addresses.items()]


def _wall(speed: float) -> Callable[[], float]:
    zero = time.monotonic()
    return lambda: (time.monotonic() - zero) * speed
