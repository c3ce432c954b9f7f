"""Values with a unit: a small closed table.

Each unit has its UCUM code (the Unified Code for Units of Measure), the spellings people use in files, its
dimension, and the factor to SI. One unit per quantity is the *canonical* one: records and JSON use it alone.
Temperatures in degrees Celsius (``Cel``) are points on a scale; temperature differences are in ``K``.
"""

from __future__ import annotations

import difflib
import math
import re
from dataclasses import dataclass

# exponents of: kilogram, metre, second, ampere, kelvin
Dimension = tuple[int, int, int, int, int]
NONE: Dimension = (0, 0, 0, 0, 0)


@dataclass(frozen=True)
class Unit:
    """One unit: ``si = value * factor + offset``."""

    code: str
    quantity: str
    dimension: Dimension
    factor: float
    offset: float = 0.0
    spellings: tuple[str, ...] = ()


_V: Dimension = (1, 2, -3, -1, 0)
_A: Dimension = (0, 0, 0, 1, 0)
_OHM: Dimension = (1, 2, -3, -2, 0)
_S: Dimension = (0, 0, 1, 0, 0)
_PA: Dimension = (1, -1, -2, 0, 0)
_K: Dimension = (0, 0, 0, 0, 1)
_W: Dimension = (1, 2, -3, 0, 0)
_J: Dimension = (1, 2, -2, 0, 0)
_M3: Dimension = (0, 3, 0, 0, 0)
_KG: Dimension = (1, 0, 0, 0, 0)
_FLOW: Dimension = (0, 3, -1, 0, 0)
_MASS_FLOW: Dimension = (1, 0, -1, 0, 0)
_HZ: Dimension = (0, 0, -1, 0, 0)
_PA_S: Dimension = (1, -1, -3, 0, 0)
_K_S: Dimension = (0, 0, -1, 0, 1)
_S_M: Dimension = (-1, -3, 3, 2, 0)
_M: Dimension = (0, 1, 0, 0, 0)
_DENSITY: Dimension = (1, -3, 0, 0, 0)

# The first unit of a quantity is the canonical one.
UNITS: tuple[Unit, ...] = (
    Unit("V", "voltage", _V, 1),
    Unit("mV", "voltage", _V, 1e-3),
    Unit("uV", "voltage", _V, 1e-6, spellings=("µV",)),
    Unit("kV", "voltage", _V, 1e3),
    Unit("A", "current", _A, 1),
    Unit("mA", "current", _A, 1e-3),
    Unit("uA", "current", _A, 1e-6, spellings=("µA",)),
    Unit("Ohm", "resistance", _OHM, 1, spellings=("ohm", "Ω")),
    Unit("mOhm", "resistance", _OHM, 1e-3, spellings=("mohm", "mΩ")),
    Unit("kOhm", "resistance", _OHM, 1e3, spellings=("kohm", "kΩ")),
    Unit("MOhm", "resistance", _OHM, 1e6, spellings=("Mohm", "MΩ")),
    Unit("s", "time", _S, 1),
    Unit("ms", "time", _S, 1e-3),
    Unit("us", "time", _S, 1e-6, spellings=("µs",)),
    Unit("min", "time", _S, 60),
    Unit("h", "time", _S, 3600),
    Unit("d", "time", _S, 86400),
    Unit("Pa", "pressure", _PA, 1),
    Unit("hPa", "pressure", _PA, 100),
    Unit("kPa", "pressure", _PA, 1e3),
    Unit("mbar", "pressure", _PA, 100),
    Unit("bar", "pressure", _PA, 1e5),
    Unit("Cel", "temperature", _K, 1, 273.15, ("°C", "degC")),
    Unit("K", "temperature difference", _K, 1),
    Unit("W", "power", _W, 1),
    Unit("kW", "power", _W, 1e3),
    Unit("J", "energy", _J, 1),
    Unit("kJ", "energy", _J, 1e3),
    Unit("W.h", "energy", _J, 3600, spellings=("Wh",)),
    Unit("mL/s", "flow", _FLOW, 1e-6, spellings=("ml/s",)),
    Unit("L/min", "flow", _FLOW, 1e-3 / 60, spellings=("l/min",)),
    Unit("mL/min", "flow", _FLOW, 1e-6 / 60, spellings=("ml/min",)),
    Unit("mL", "volume", _M3, 1e-6, spellings=("ml",)),
    Unit("L", "volume", _M3, 1e-3, spellings=("l",)),
    Unit("g", "mass", _KG, 1e-3),
    Unit("kg", "mass", _KG, 1),
    Unit("g/s", "mass flow", _MASS_FLOW, 1e-3),
    Unit("g/min", "mass flow", _MASS_FLOW, 1e-3 / 60),
    Unit("Hz", "frequency", _HZ, 1),
    Unit("kHz", "frequency", _HZ, 1e3),
    Unit("%", "share", NONE, 0.01),
    Unit("1", "number", NONE, 1),
    Unit("Pa/s", "pressure rate", _PA_S, 1),
    Unit("kPa/min", "pressure rate", _PA_S, 1e3 / 60),
    Unit("mbar/min", "pressure rate", _PA_S, 100 / 60),
    Unit("K/s", "temperature rate", _K_S, 1),
    Unit("K/min", "temperature rate", _K_S, 1 / 60),
    Unit("uS/cm", "conductivity", _S_M, 1e-4, spellings=("µS/cm",)),
    Unit("mm", "length", _M, 1e-3),
    Unit("m", "length", _M, 1),
    Unit("mm/m", "slope", NONE, 1e-3),
    Unit("g/mL", "density", _DENSITY, 1e3, spellings=("g/ml",)),
    Unit("kg/m3", "density", _DENSITY, 1),
)

_BY_WORD: dict[str, Unit] = {w: u for u in UNITS for w in (u.code, *u.spellings)}
_CANONICAL: dict[str, Unit] = {}
for _unit in UNITS:
    _CANONICAL.setdefault(_unit.quantity, _unit)

_NUMBER = re.compile(r"[+-]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][+-]?[0-9]+)?")


def unit(word: str) -> Unit:
    """The unit a person meant. Raises ValueError naming the nearest known unit."""
    found = _BY_WORD.get(word)
    if found is None:
        near = _nearest(word[:40])
        hint = f"; nearest is '{near}'" if near else ""
        raise ValueError(f"unknown unit {word[:40]!r}{hint}; known are {', '.join(u.code for u in UNITS)}")
    return found


def _nearest(word: str) -> str | None:
    """The unit in other capitals, or with letters too many (Volt, secs, ohms), or one that looks alike."""
    folded = word.casefold()
    begins = [w for w in _BY_WORD if folded.startswith(w.casefold()) and word.isalpha()]
    alike = difflib.get_close_matches(word, _BY_WORD, n=1, cutoff=0.4)
    same = [w for w in _BY_WORD if w.casefold() == folded]
    return next(iter(same or sorted(begins, key=len, reverse=True) or alike), None)


def canonical(word: str) -> str:
    """The code of the one unit that records use for this unit's quantity."""
    return _CANONICAL[unit(word).quantity].code


@dataclass(frozen=True)
class Quantity:
    """A value and its unit, as a person wrote it. ``str()`` gives it back."""

    value: float
    unit: str

    def to(self, word: str) -> float:
        """The value in another unit of the same quantity. Raises ValueError where there is none."""
        return convert(self.value, self.unit, word)

    @property
    def si(self) -> float:
        """The value in SI base units (kelvin for temperatures)."""
        u = unit(self.unit)
        return self.value * u.factor + u.offset

    def canonical(self) -> Quantity:
        """The same quantity in its canonical unit."""
        code = canonical(self.unit)
        return Quantity(self.to(code), code)

    def __str__(self) -> str:
        return f"{self.value:g} {self.unit}" if self.unit != "1" else f"{self.value:g}"


def convert(value: float, origin: str, target: str) -> float:
    """Convert between two units of one quantity; a number to the same unit comes back untouched."""
    a, b = unit(origin), unit(target)
    if a.code == b.code:
        return value
    if a.dimension != b.dimension or ((a.offset or b.offset) and a.quantity != b.quantity):
        raise ValueError(f"{a.code} ({a.quantity}) cannot be given in {b.code} ({b.quantity})")
    if not a.offset and not b.offset:
        ratio = a.factor / b.factor
        return value * ratio
    return (value * a.factor + a.offset - b.offset) / b.factor


def parse(text: str) -> Quantity:
    """Read "24 V", "0.5 mbar/min", "80%" or a bare "3". Raises ValueError saying what was expected."""
    stripped = text.strip()
    match = _NUMBER.match(stripped)
    if match is None:
        raise ValueError(f"expected a number with a unit such as '24 V', found {text[:60]!r}")
    word = stripped[match.end() :].strip()
    found = Quantity(float(match.group()), unit(word).code if word else "1")
    if not math.isfinite(found.si):
        raise ValueError(f"expected a finite number, found {text[:60]!r}")
    if vanishes(match.group(), found):
        raise ValueError(f"expected a number that can be told from 0, found {text[:60]!r}")
    return found


def vanishes(written: str, value: Quantity) -> bool:
    """Whether a number was written that is not 0, and is too small for a float."""
    scale = unit(value.unit).factor
    return value.value * scale == 0.0 and any(digit in "123456789" for digit in re.split("[eE]", written)[0])
