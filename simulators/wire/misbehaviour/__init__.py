"""Wires that lie: every fault of the wire, by name. One family a file; `active` says which are in, and on what.

A fault is set on an instrument of the bench by its name, for so many exchanges or until it is taken out, for all
that is asked of it or for one function code or SCPI header alone.
"""

from typing import Any

from simulators.wire.fault import Kind
from simulators.wire.misbehaviour import connection, devices, frames, text, timing

FAMILIES: dict[str, tuple[Kind, ...]] = {
    "time and order": timing.KINDS,
    "connections": connection.KINDS,
    "Modbus frames": frames.KINDS,
    "lines of text": text.KINDS,
    "devices": devices.KINDS,
}
KINDS: dict[str, Kind] = {kind.name: kind for family in FAMILIES.values() for kind in family}


def list_wire_faults() -> list[dict[str, Any]]:
    """Every fault of the wire: name, line, seen, family, instruments (sorts), wires, parameters."""
    return [
        {
            "name": kind.name,
            "line": kind.line,
            "seen": kind.seen,
            "family": family,
            "instruments": sorted(kind.sorts),
            "wires": sorted(kind.wires),
            "parameters": list(kind.takes),
        }
        for family, kinds in FAMILIES.items()
        for kind in kinds
    ]
