"""What is installed beside the rig under a name: drivers, off switches, stations. Nothing of it is imported here."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from importlib.metadata import EntryPoint, entry_points

DRIVERS, STATIONS = "refurb_rig.drivers", "refurb_rig.stations"
OFF_SWITCHES = "refurb_rig.off_switches"


@cache
def installed(group: str) -> Mapping[str, EntryPoint]:
    """The entry points of a group by name; looked up once, for it reads the metadata of every installed package."""
    return {e.name: e for e in entry_points(group=group)}
