"""Rules about the ways to instruments: names that are installed, addresses that can be, one instrument at each, and
simulated and real never together."""

from __future__ import annotations

import ipaddress
import re
from collections.abc import Iterator

from rig.errors import Fault
from rig.plan.addresses import place_of, socket_of
from rig.plan.installed import DRIVERS, OFF_SWITCHES, STATIONS, installed
from rig.plan.view import BenchView, unknown
from rig.plan.wiring import Link

STATION = "station"
_PSEUDO_TERMINAL = re.compile(r"(ASRL)?/dev/pts/\d+(::INSTR)?", re.IGNORECASE)


def names_are_installed(view: BenchView) -> Iterator[Fault]:
    """Drivers and the station are found by name; a driver of relay boards has an off switch for the second process."""
    bench, drivers = view.bench, installed(DRIVERS)
    if bench.station is not None and bench.station not in installed(STATIONS):
        yield view.fault(("station",), unknown("station", bench.station, installed(STATIONS)))
    switching = {o.instrument for o in bench.outputs.values()}
    switching |= {t.select.instrument for t in bench.test_points.values() if t.select is not None}
    for name, instrument in bench.instruments.items():
        here = ("instruments", name, "driver")
        if instrument.driver not in drivers:
            yield view.fault(here, unknown("driver", instrument.driver, drivers))
        elif name in switching and not bench.by_hand(name) and instrument.driver not in installed(OFF_SWITCHES):
            message = (
                f"outputs are on {name}, and {instrument.driver} has no off switch for the second process; "
                f"with one: {', '.join(installed(OFF_SWITCHES)) or 'none'}"
            )
            yield view.fault(here, message)


def addresses_can_be(view: BenchView) -> Iterator[Fault]:
    """An address has the form of its protocol, with a port from 1 to 65535; no two links lead to one place."""
    seen: dict[str, str] = {}
    for name, link in view.bench.links.items():
        here = ("links", name, "address")
        if link.address == STATION or link.protocol in ("person", "hand"):
            continue
        network = socket_of(link)
        if link.protocol == "modbus-tcp" and network is None:
            yield view.fault(here, f"expected HOST:PORT, such as 192.0.2.7:502, found '{link.address}'")
        elif network is not None and network[1].isdecimal() and not 1 <= int(network[1]) <= 65535:
            yield view.fault(here, f"expected a port from 1 to 65535, found {network[1]}")
        first = seen.setdefault(place_of(link), name)
        if first != name:
            yield view.fault(here, f"'{first}' leads to the same place; two links there would garble each other")


def one_instrument_at_each(view: BenchView) -> Iterator[Fault]:
    """On a field bus each instrument has a device number of its own; a meter's link leads to one meter."""
    seen: dict[tuple[str, int | None], str] = {}
    for name, instrument in view.bench.instruments.items():
        link = view.bench.links.get(instrument.link)
        if link is None or link.protocol in ("person", "hand"):
            continue
        here = ("instruments", name)
        field_bus = link.protocol.startswith("modbus")
        if field_bus and (instrument.device is None or instrument.channels is None):
            missing = "device" if instrument.device is None else "channels"
            yield view.fault(here, f"expected {missing}, for {instrument.link} is a field bus")
            continue
        first = seen.setdefault((instrument.link, instrument.device if field_bus else None), name)
        if first != name and field_bus:
            message = f"'{first}' is device {instrument.device} on {instrument.link} already"
            yield view.fault((*here, "device"), message)
        elif first != name:
            message = f"'{first}' is at {instrument.link} already, and it leads to one instrument"
            yield view.fault((*here, "link"), message)


def links_fit(view: BenchView) -> Iterator[Fault]:
    """A simulated bench reaches simulators only, another one real instruments only."""
    bench = view.bench
    if bench.station is not None and not bench.simulated:
        yield view.fault(("station",), "a bench that is not simulated has no station")
    if bench.speed != 1.0 and not bench.simulated:
        yield view.fault(("speed",), "only a simulated bench runs at another speed than 1")
    for name, link in bench.links.items():
        here = ("links", name, "address")
        if link.protocol == "person" and not bench.simulated:
            yield view.fault(("links", name, "protocol"), "the simulated person is for simulated benches")
        if link.address == STATION:
            if bench.station is None:
                yield view.fault(here, "the address is 'station', and this bench names no station")
        elif bench.simulated and link.protocol != "hand" and not _loopback(link):
            message = "a simulated bench reaches its station or this computer alone: expected station or 127.0.0.1:PORT"
            yield view.fault(here, message)
    for name, instrument in bench.instruments.items():
        spec = bench.links.get(instrument.link)
        if spec is not None and spec.protocol == "person":
            message = f"{instrument.link} leads to the simulated person, who is no instrument"
            yield view.fault(("instruments", name, "link"), message)


def _loopback(link: Link) -> bool:
    if link.protocol in ("visa", "modbus-rtu") and _PSEUDO_TERMINAL.fullmatch(link.address):
        return True
    network = socket_of(link)
    host = network[0] if network is not None else link.address.rpartition(":")[0] if link.protocol == "person" else ""
    if host.lower() == "localhost":
        return True
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return False


RULES = (names_are_installed, addresses_can_be, one_instrument_at_each, links_fit)
