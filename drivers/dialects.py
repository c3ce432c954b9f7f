"""How instruments that speak in lines are spoken to: dialects as data. A bench file names one with ``map:``.

SCPI-99 volume 1 gives the headers, IEEE 488.2 the common commands (asterisk), its status registers, and the number
forms; clause numbers beside them are from memory.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field

from rig.errors import InputError


@dataclass(frozen=True)
class MeterDialect:
    """A multimeter's. ``stamped``: it has the common status registers, so that an answer can be tied to its question
    and a restart is seen; without them it is set up anew before every reading."""

    functions: Mapping[str, tuple[str, str]]  # the words of procedures: header, and the unit of ranges and readings
    number: re.Pattern[str]
    stamped: bool = True
    unranged: frozenset[str] = frozenset({"diode", "continuity"})  # one fixed range, which is not set
    configure: str = "CONF:{function} {scale}"
    record: str = "CONF:{function} {scale};:SENS:SWE:POIN {count};:SENS:SWE:TINT {interval:.9g}"
    single: str = "SENS:SWE:POIN 1"
    start: str = "INIT"
    fetch: str = "FETC?"
    read: str = "READ?"
    error: str = "SYST:ERR?"
    who: str = "*IDN?"


# NR3: a mantissa with its point, and an exponent (IEEE 488.2, 8.7.4). What breaks off in the middle has none.
NR3 = re.compile(r"[+-]?\d\.\d{4,}E[+-]\d{2,3}", re.IGNORECASE)

SCPI_FUNCTIONS = {
    "DC volts": ("VOLT:DC", "V"),
    "AC volts": ("VOLT:AC", "V"),
    "DC amps": ("CURR:DC", "A"),
    "AC amps": ("CURR:AC", "A"),
    "resistance": ("RES", "Ohm"),
    "resistance four-wire": ("FRES", "Ohm"),
    "diode": ("DIOD", "V"),
    "continuity": ("CONT", "Ohm"),
    "frequency": ("FREQ", "Hz"),
}

METERS: dict[str, MeterDialect] = {
    "scpi-99": MeterDialect(SCPI_FUNCTIONS, NR3),
    "scpi-99-plain": MeterDialect(SCPI_FUNCTIONS, NR3, stamped=False),
}


@dataclass(frozen=True)
class ScaleDialect:
    """A scale's: what asks for the weight and for its name, and what the answers look like."""

    weigh: str
    weight: re.Pattern[str]  # groups: state, number
    who: str
    name: re.Pattern[str]  # group: serial
    over: str
    moving: str = ""  # the state of a weight that has not come to rest
    unit: str = "g"
    words: Mapping[str, str] = field(default_factory=dict)


SCALES: dict[str, ScaleDialect] = {
    # the demonstration's own manner
    "demo-scale": ScaleDialect(
        weigh="W",
        weight=re.compile(r"(?P<state>[SU]) {1,10}(?P<number>[+-]\d{1,5}\.\d) g"),
        who="I",
        name=re.compile(r"SCALE,(?P<serial>[\w-]{1,40})"),
        over="O",
        moving="U",
        words={"?": "does not understand what it is asked"},
    ),
}


def chosen(maps: Mapping[str, object], name: str | None, instrument: str) -> str:
    """The name of a map or dialect: the bench file's, else the first. Raises InputError for one that is not there."""
    if name is None:
        return next(iter(maps))
    if name not in maps:
        raise InputError(f"there is no map or dialect '{name}'; known: {', '.join(maps)}", "", instrument)
    return name
