"""Where a link leads, read from what the bench file says: the same place however it is written."""

from __future__ import annotations

import re

from rig.plan.wiring import Link

SERIAL = re.compile(r"(?:ASRL)?(?P<path>/dev/[^:]+)(?:::INSTR)?", re.IGNORECASE)
_VISA = re.compile(r"TCPIP\d*::(?P<host>\[[^\]]*\]|[^:]+)::(?:(?P<port>\d+)::SOCKET|(?P<rest>.*))", re.IGNORECASE)


def socket_of(link: Link) -> tuple[str, str] | None:
    """Host and port of a link over the network, the port as it is written (of a VISA resource without one, what stands
    in its place); None for anything else."""
    if link.protocol == "visa":
        visa = _VISA.fullmatch(link.address.strip())
        return None if visa is None else (visa["host"].strip("[]"), visa["port"] or visa["rest"])
    if link.protocol != "modbus-tcp":
        return None
    host, _, port = link.address.strip().rpartition(":")
    return (host.strip("[]"), port) if host and port.isdecimal() else None


def serial_port_of(link: Link) -> str | None:
    """The path of a serial port; None for anything else."""
    found = SERIAL.fullmatch(link.address.strip()) if link.protocol in ("visa", "modbus-rtu") else None
    return None if found is None else found["path"]


def place_of(link: Link) -> str:
    """One word for the place, the same for two links that are written differently and lead to one place. Looks nothing
    up: a host's name and its number remain two."""
    network, port = socket_of(link), serial_port_of(link)
    if network is not None:
        host, number = network
        return f"{host.lower()}:{int(number) if number.isdecimal() else number.lower()}"
    if port is not None:
        return port
    return f"{link.protocol} {' '.join(link.address.split()).lower()}"
