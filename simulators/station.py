"""Puts a simulated bench together: one plant, its instruments on their wires, and the clock to live by."""

import asyncio
import math
import time
from collections.abc import Callable, Mapping
from typing import Any, TextIO

from simulators.clock import LockstepClock
from simulators.instruments import MODULES
from simulators.names import UnknownName
from simulators.plant import Plant
from simulators.unit.faults import FAULTS
from simulators.unit.loose import DUTY, PERIOD
from simulators.wire import FarEnd, Pace
from simulators.wire.control import Control
from simulators.wire.devices import BenchDevices
from simulators.wire.fault import Site
from simulators.wire.frames import RtuFrames
from simulators.wire.link import Address, Link, Listener
from simulators.wire.log import WireLog
from simulators.wire.meter import Meter
from simulators.wire.misbehaviour import KINDS, list_wire_faults
from simulators.wire.mischief import Active, Mischief
from simulators.wire.modbus import ModbusGateway
from simulators.wire.person import Person
from simulators.wire.scale import Scale
from simulators.wire.scpi import ScpiInstrument
from simulators.wire.serial import MODBUS_LINE, SCALE_LINE, SCPI_LINE, SerialListener
from simulators.wire.tcp import TcpListener
from simulators.wire.watch import Watch

__all__ = ["Station", "list_faults", "list_instruments", "list_wire_faults", "listener_lines", "start"]

PLANT_PERIOD = 0.05  # wall seconds between two looks of the plant at the time, at real pace
LONGEST_PERSON_WAIT = 2.0  # wall seconds: at real pace the simulated person never takes longer
DEVICE_SECONDS = 0.004  # what a module on the serial line takes to act on a request (invented)
WIRINGS = ("tcp", "serial")
# What is spoken on each link, by wiring.
LISTENERS = {
    "modbus": {"tcp": "modbus tcp", "serial": "modbus rtu"},
    "meter": {"tcp": "scpi tcp", "serial": "scpi serial"},
    "scale": {"tcp": "scale tcp", "serial": "scale serial"},
    "person": {"tcp": "person tcp"},
    "control": {"tcp": "control tcp"},
}
LINES = {"modbus": MODBUS_LINE, "meter": SCPI_LINE, "scale": SCALE_LINE}


class Station:
    """A running simulated station. Its links are "modbus", "meter", "scale", "person" and "control".

    `addresses` says where each is (`TcpAddress`: host, port; `SerialAddress`: path), `exchanges` counts the
    requests on each, `clock` is None at real pace.
    """

    def __init__(
        self,
        plant: Plant,
        seed: int = 0,
        lockstep: bool = True,
        speed: float = 1.0,
        wiring: str = "tcp",
        word_order: str = "ABCD",
        log: TextIO | None = None,
    ) -> None:
        self.plant = plant
        self.clock = LockstepClock() if lockstep else None
        self.addresses: dict[str, Address] = {}
        self.exchanges = dict.fromkeys((name for name in LISTENERS if name != "control"), 0)
        self._wiring = wiring
        self._log = None if log is None else WireLog(log)
        self._pace = Pace(self.clock.now, self.clock) if self.clock else Pace(_wall(speed), None, speed)
        self._devices = BenchDevices(plant, seed, word_order, speed)
        self._meter = Meter(plant, seed, self._advance)
        self._scale = Scale(plant, seed, self._advance)
        self._watch = Watch(plant)
        self._sites: dict[str, Site] = {}
        self._mischief = Mischief(KINDS, self._sites)
        self._listeners = {name: self._listener(name, end) for name, end in self._far_ends(seed).items()}
        self._sites |= self._all_sites()
        self._ticker: asyncio.Task[None] | None = None

    # ---- opening and closing ------------------------------------------------------------------------------

    async def open(self) -> None:
        """Start listening, and at real pace let the plant follow the time."""
        for name, listener in self._listeners.items():
            self.addresses[name] = await listener.open()
        if self.clock is None:
            self._ticker = asyncio.get_running_loop().create_task(self._follow(), name="plant")

    async def close(self) -> None:
        """Close all listeners and connections. Safe to call twice. Raises what went wrong in the plant."""
        for listener in self._listeners.values():
            await listener.close()
        ticker, self._ticker = self._ticker, None
        if ticker is not None:
            ticker.cancel()
            await asyncio.wait([ticker])
            if not ticker.cancelled():
                ticker.result()

    async def close_listener(self, name: str) -> None:
        """Close one listener and abort its connections, as a pulled cable does. KeyError: no such link."""
        await self._listeners[name].close()

    def shut_listener(self, name: str) -> None:
        """The same at once. Raises UnknownName."""
        self._named(name).shut()

    def open_listener(self, name: str) -> None:
        """Listen again at the same address. Raises UnknownName, ValueError (a serial line), OSError (taken)."""
        self._named(name).reopen()

    # ---- faults, and what is seen -------------------------------------------------------------------------

    def set_fault(self, name: str, severity: float, duty: float = DUTY, period: float = PERIOD) -> None:
        """A fault of the unit in, changed, or out (0), now; see `Plant.set_fault`. Raises as the plant."""
        self._advance(self._pace.now())
        self.plant.set_fault(name, severity, duty, period)

    def misbehave(
        self, kind: str, on: str, times: int | None = None, only: str | int | None = None, **parameters: Any
    ) -> Active:
        """A fault of the wire in, now: see `Mischief.put_in`."""
        self._advance(self._pace.now())
        return self._mischief.put_in(kind, on, times, only, **parameters)

    def behave(self, kind: str | None = None, on: str | None = None) -> int:
        """Faults of the wire out, now: see `Mischief.take_out`."""
        self._advance(self._pace.now())
        return self._mischief.take_out(kind, on)

    def state(self) -> dict[str, Any]:
        """What the station itself sees, whatever its instruments say.

        now: s of its own time; wall: `time.time()`; energized: names of outputs whose contacts are closed;
        outputs: see `Watch.outputs`; abuses: what must never have happened; wire: faults of the wire that are
        in; exchanges: requests on each link.
        """
        self._advance(self._pace.now())
        return {
            "now": self._pace.now(),
            "wall": time.time(),
            "energized": self._watch.energized(),
            "outputs": self._watch.outputs(),
            "abuses": list(self.plant.abuses),
            "wire": [
                {"wire": one.kind.name, "on": one.site.name, "left": one.left, "only": one.only, "hits": one.hits}
                for one in self._mischief.active
            ],
            "exchanges": dict(self.exchanges),
        }

    # ---- putting it together ------------------------------------------------------------------------------

    def _far_ends(self, seed: int) -> dict[str, FarEnd]:
        names, tables = self._devices.names, self._devices.tables
        if self._wiring == "serial":
            modbus = ModbusGateway(tables, self._advance, seed, names, RtuFrames(), seconds=DEVICE_SECONDS, jitter=0.0)
        else:
            modbus = ModbusGateway(tables, self._advance, seed, names)
        return {
            "modbus": modbus,
            "meter": ScpiInstrument(self._meter.interpreter, self._meter.advance),
            "scale": self._scale,
            "person": Person(self.plant, self._advance),
            "control": Control(self),
        }

    def _listener(self, name: str, far_end: FarEnd) -> Listener:
        longest = LONGEST_PERSON_WAIT if name == "person" else math.inf
        log = None if name == "control" else self._log
        link = Link(name, far_end, self._pace, self.exchanges, longest, self._mischief, log)
        if name == "modbus" and self.clock is None:
            link.told = self._watch.look
        serial = self._wiring == "serial" and name in LINES
        return SerialListener(link, LINES[name]) if serial else TcpListener(link)

    def _all_sites(self) -> dict[str, Site]:
        now, plant, wire = self._pace.now, self.plant, self._wiring
        modbus = self._listeners["modbus"]
        sites = {
            name: Site(name, module.sort, wire, modbus, self._devices.by_name[name], plant, now)
            for name, module in MODULES.items()
        }
        sites["meter-1"] = Site("meter-1", "meter", wire, self._listeners["meter"], self._meter, plant, now)
        sites["scale-1"] = Site("scale-1", "scale", wire, self._listeners["scale"], self._scale, plant, now)
        return sites

    def _advance(self, now: float) -> None:
        while (first := min(self._devices.watchdogs, key=lambda dog: dog.due())).due() <= now:
            self._devices.power.advance(first.due())
            first.trip()
        self._devices.power.advance(now)

    def _named(self, name: str) -> Listener:
        if name not in self._listeners:
            raise UnknownName("listener", name, self._listeners)
        return self._listeners[name]

    async def _follow(self) -> None:
        while True:
            self._advance(self._pace.now())
            self._watch.look()
            await asyncio.sleep(PLANT_PERIOD)


async def start(
    unit: str = "demo-18-dc",
    faults: Mapping[str, float] | None = None,
    seed: int = 0,
    lockstep: bool = True,
    speed: float = 1.0,
    wiring: str = "tcp",
    word_order: str = "ABCD",
    log: TextIO | None = None,
) -> Station:
    """A station with this unit on it. At real pace its time is the wall's times `speed`.

    `wiring` "serial" puts Modbus, meter and scale on pseudo-terminals; `word_order` is that of the power
    meter's floats; `log` takes the wire log. Raises the plant's ValueErrors for an unknown unit or fault, or a
    fault that the unit cannot have; ValueError for a speed that is not positive, an unknown wiring or order.
    """
    if not (speed > 0.0 and math.isfinite(speed)):
        raise ValueError(f"the speed of a station is a positive number, not {speed}")
    if wiring not in WIRINGS:
        raise ValueError(f"a station is wired by {' or '.join(WIRINGS)}, not {wiring!r}")
    station = Station(Plant(unit, seed, faults), seed, lockstep, speed, wiring, word_order, log)
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


def list_instruments() -> dict[str, str]:
    """The sort of every instrument whose wire can misbehave, by its name."""
    return {name: module.sort for name, module in MODULES.items()} | {"meter-1": "meter", "scale-1": "scale"}


def listener_lines(station: Station) -> list[str]:
    """One line a listener: what it speaks, and where."""
    return [f"{LISTENERS[name][address.kind]} {address}" for name, address in station.addresses.items()]


def _wall(speed: float) -> Callable[[], float]:
    zero = time.monotonic()
    return lambda: (time.monotonic() - zero) * speed
