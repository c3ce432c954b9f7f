"""Open a bench: find its station, its clock and its drivers by name, and connect."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from contextlib import AsyncExitStack
from dataclasses import dataclass, field
from functools import partial
from importlib.metadata import EntryPoint
from pathlib import Path
from typing import Any

from rig.bench.bench import LiveBench
from rig.bench.clock import Clock, WallClock
from rig.bench.ports import Connection, Hands, Instrument, Unrecorded, WireRecorder, Words
from rig.bench.wire_log import WireLog
from rig.errors import InputError
from rig.events import Event
from rig.plan.installed import DRIVERS, STATIONS, installed
from rig.plan.wiring import Bench, InstrumentSpec, Link


@dataclass(frozen=True)
class StationOrder:
    """What a simulated station is to be: which unit, which faults (name, severity), which seed, which pace."""

    unit: str = ""
    faults: tuple[tuple[str, float], ...] = ()
    seed: int = 0
    lockstep: bool = True
    wire_faults: tuple[tuple[str, str, int | None], ...] = ()  # kind, instrument, for so many exchanges
    log: Path | None = None  # for a station that plays a wire log back


@dataclass
class OpenBench:
    """A bench that is connected, and what must be let go of afterwards."""

    live: LiveBench
    station: Any | None
    links: Mapping[str, Link]
    _stack: AsyncExitStack = field(default_factory=AsyncExitStack)

    async def close(self) -> None:
        """Close links first, then the station."""
        await self._stack.aclose()


async def open_bench(
    wiring: Bench, order: StationOrder, emit: Callable[[Event], None], log: WireLog | None = None
) -> OpenBench:
    """Connect to a bench; ``log`` keeps what is on its wires. Raises InputError (unknown driver, station, unit or
    fault; faults asked of a bench that has no station), InstrumentError."""
    stack = AsyncExitStack()
    try:
        station, clock, links = await _station(wiring, order, stack)
        shared: dict[str, Any] = {}
        told: list[str] = []
        instruments: dict[str, Instrument] = {}
        for name, spec in wiring.instruments.items():
            instruments[name] = await _open_one(name, spec, links, clock, wiring, shared, told, log)
        hands = await _hands(links, clock, wiring, shared, log)
        live = LiveBench(wiring, instruments, hands, clock, emit, told)
        stack.push_async_callback(live.close)
        return OpenBench(live, station, links, stack)
    except BaseException:
        await stack.aclose()
        raise


async def _station(
    wiring: Bench, order: StationOrder, stack: AsyncExitStack
) -> tuple[Any | None, Clock, dict[str, Link]]:
    if wiring.station is None:
        if order.faults or order.wire_faults:
            raise InputError(
                f"bench {wiring.bench} has no station of its own, so no fault can be put into it",
                "Give faults with the simulated bench, or to 'rig station'.",
            )
        return None, WallClock(wiring.speed), dict(wiring.links)
    factory = _entry(STATIONS, wiring.station, "station").load()
    try:
        which: dict[str, Any] = {"unit": order.unit} if order.unit else {}  # a self-check needs none
        if order.log is not None:
            which["log"] = order.log
        if any(link.protocol == "modbus-rtu" and link.address == "station" for link in wiring.links.values()):
            which["wiring"] = "serial"
        station = await factory(**which, faults=dict(order.faults), seed=order.seed, lockstep=order.lockstep, speed=1.0)
        stack.push_async_callback(station.close)
        for kind, instrument, times in order.wire_faults:
            station.misbehave(kind, instrument, times)
    except (ValueError, OSError) as error:  # an unknown unit or fault, one that this unit cannot have; a bad log
        raise InputError(str(error)) from None
    clock: Clock = station.clock if station.clock is not None else WallClock()
    return station, clock, {name: _resolved(name, link, station.addresses) for name, link in wiring.links.items()}


def _resolved(name: str, link: Link, addresses: Mapping[str, Any]) -> Link:
    """A link with its address: the station has sockets (host and port) and serial lines (path and baud)."""
    if link.address != "station":
        return link
    if name not in addresses:
        raise InputError(f"link {name}: the station has no such listener; it has {', '.join(addresses)}", culprit=name)
    found, visa = addresses[name], link.protocol == "visa"
    path = getattr(found, "path", None)
    if path is not None:
        address = f"ASRL{path}::INSTR" if visa else path
        return link.model_copy(update={"address": address, "baud": link.baud or found.baud})
    host, port = found
    address = f"TCPIP::{host}::{port}::SOCKET" if visa else f"{host}:{port}"
    return link.model_copy(update={"address": address})


async def _open_one(
    name: str,
    spec: InstrumentSpec,
    links: Mapping[str, Link],
    clock: Clock,
    wiring: Bench,
    shared: dict[str, Any],
    told: list[str],
    log: WireLog | None,
) -> Instrument:
    opener = _entry(DRIVERS, spec.driver, "driver").load()
    outputs = {o.channel: n for n, o in wiring.outputs.items() if o.instrument == name}
    connection = Connection(name, spec, spec.link, links[spec.link], clock, wiring.simulated, outputs, told.append,
                            _recorder(log, spec.link))  # fmt: skip
    opened: Instrument = await opener(connection, shared)
    return opened


async def _hands(
    links: Mapping[str, Link], clock: Clock, wiring: Bench, shared: dict[str, Any], log: WireLog | None
) -> Hands | None:
    for name, link in links.items():
        if link.protocol == "person":
            spec = InstrumentSpec.model_construct(driver="person", link=name, serial="-")
            opener = _entry(DRIVERS, "person", "driver").load()
            connection = Connection(name, spec, name, link, clock, wiring.simulated, recorder=_recorder(log, name))
            hands: Hands = await opener(connection, shared)
            return hands
    return None


def _recorder(log: WireLog | None, link: str) -> Callable[[str, Words], WireRecorder]:
    return (lambda wire, words: Unrecorded()) if log is None else partial(log.link, link)


def _entry(group: str, name: str, kind: str) -> EntryPoint:
    found = installed(group)
    if name not in found:
        known = ", ".join(sorted(found)) or "none; install refurb-rig again"
        raise InputError(f"unknown {kind} {name!r}, expected one of: {known}", culprit=name)
    return found[name]
