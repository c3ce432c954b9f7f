"""A reading as a person types it: ``23.7 V ± 0.1 V with DMM 7``.

The number, its unit (the asked one where none is written), what it may be off by, and the instrument. What follows ±
(also +- and +/-) is the instrument's limit of error, taken as rectangular (GUM 4.3.7); a share of the reading may be
written in %. Without it, half of the last digit is taken. ``more than 1 kOhm with DMM 7`` (or ``less than``) says that
the value lies beyond what the instrument shows.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

from rig.quantities import Quantity, convert, parse, unit

EXAMPLE = "23.7 V ± 0.1 V with DMM 7"
LONGEST_NAME = 60  # characters of an instrument's name
LARGEST = 1e15  # no instrument shows more, in any unit

_WITH = re.compile(r"\s(?:with|using)\s+(?P<instrument>.+)$", re.IGNORECASE)
_BOUND = re.compile(r"^(?P<word>more than|less than|>|<)\s*", re.IGNORECASE)
_OFF_BY = re.compile(r"\s*(?:±|\+/-|\+-)\s*")
_COMMA = re.compile(r"^[+-]?\d+,\d+")
_DIGITS = re.compile(r"[+-]?(?P<whole>\d*)(?:\.(?P<decimals>\d*))?(?:[eE](?P<exponent>[+-]?\d+))?")
_BOUNDS = {"more than": "more than", ">": "more than", "less than": "less than", "<": "less than"}


@dataclass(frozen=True)
class Typed:
    """What was typed: ``value`` and the half width ``off_by`` in ``unit``, which is the one that was asked for.

    ``stated`` tells whether ± was written; ``bound`` is "more than", "less than" or None."""

    value: float
    unit: str
    off_by: float
    stated: bool
    instrument: str
    bound: str | None = None


def typed(text: str, asked: str) -> Typed:
    """What ``text`` says, in the unit ``asked``. Raises ValueError saying what was expected."""
    said, instrument = parted(text)
    if not instrument:
        raise ValueError(f"say with which instrument (its name or serial number), as in '{EXAMPLE}'")
    bound = _BOUND.match(said)
    if bound is not None:
        said = said[bound.end() :]
    parts = _OFF_BY.split(said)
    if len(parts) > 2 or not parts[0]:
        raise ValueError(f"expected one number and at most one ±, as in '{EXAMPLE}'; found {text.strip()[:60]!r}")
    value = _value(parts[0], asked)
    off_by = _off_by(parts[1], value, asked) if len(parts) == 2 else _last_digit(parts[0], value, asked)
    number = convert(value.value, value.unit, asked)
    return Typed(
        number, asked, off_by, len(parts) == 2, instrument, None if bound is None else _BOUNDS[bound["word"].lower()]
    )


def parted(text: str) -> tuple[str, str]:
    """What was read, and with what; nothing where that is not said. Raises ValueError for a name that is too long.

    >>> parted("0.11 Ohm with PAT 3")
    ('0.11 Ohm', 'PAT 3')
    """
    said = f" {text.strip()}"
    found = _WITH.search(said)
    return (said.strip(), "") if found is None else (said[: found.start()].strip(), _instrument(found["instrument"]))


def _instrument(text: str) -> str:
    name = " ".join(text.split())
    if len(name) > LONGEST_NAME:
        raise ValueError(f"the instrument's name is longer than {LONGEST_NAME} characters")
    return name


def _value(text: str, asked: str) -> Quantity:
    """The number with its unit. A bare number is in the asked unit; another quantity is refused."""
    if _COMMA.match(text):
        raise ValueError(
            f"expected a decimal point, found a comma in {text[:40]!r}; write {text[:40].replace(',', '.')}"
        )
    found = parse(text)
    if found.unit == "1" and asked != "1":
        found = Quantity(found.value, asked)
    if abs(found.value) > LARGEST or abs(convert(found.value, found.unit, asked)) > LARGEST:
        raise ValueError(f"expected a number that an instrument can show, found {text[:40]!r}")
    return found


def _off_by(text: str, value: Quantity, asked: str) -> float:
    """What is written after ±, as a half width in the asked unit (kelvin for temperatures)."""
    if not text:
        raise ValueError("expected a number after ±")
    if _COMMA.match(text):
        raise ValueError(f"expected a decimal point, found a comma in {text[:40]!r}")
    off = parse(text)
    if off.unit == "%" and value.unit != "%":
        half = abs(convert(value.value, value.unit, asked)) * off.value / 100.0
    elif off.unit == "1" and value.unit != "1":
        half = _difference(off.value, value.unit, asked)
    elif off.unit == "K" and unit(asked).quantity == "temperature":
        half = off.value
    else:
        half = _difference(off.value, off.unit, asked)
    if not 0 < half <= LARGEST:
        raise ValueError(f"what follows ± is above 0 and of a size that can be, found {text[:40]!r}")
    return half


def _difference(value: float, origin: str, asked: str) -> float:
    """A difference in another unit: scales without a common zero (Cel) are shifted against each other alike."""
    a, b = unit(origin), unit(asked)
    if a.quantity != b.quantity:
        raise ValueError(f"what follows ± is in {origin} ({a.quantity}), the reading in {asked} ({b.quantity})")
    return value if a.code == b.code else value * a.factor / b.factor


def number_typed(text: str, asked: str) -> tuple[float, float]:
    """A number that may have a unit, and with what it was read: its value and half of its last digit, both in the asked
    unit. Raises ValueError saying what was expected."""
    number = parted(text)[0]
    value = _value(number, asked)
    return convert(value.value, value.unit, asked), _last_digit(number, value, asked)


def digit_typed(text: str, asked: str) -> float:
    """Half of the last digit of what ``typed`` understands, in the asked unit, whatever stands behind ±. Raises
    ValueError for a number that says nothing about it."""
    said = _BOUND.sub("", parted(text)[0])
    return number_typed(_OFF_BY.split(said)[0], asked)[1]


def _last_digit(text: str, value: Quantity, asked: str) -> float:
    """Half of the last digit that was written, in the asked unit."""
    digits = _DIGITS.match(text)
    assert digits is not None  # it was read as a number before
    exponent = int(digits["exponent"] or 0) - len(digits["decimals"] or "")
    half = _difference(float(f"5e{exponent - 1}"), value.unit, asked)
    if not math.isfinite(half) or half <= 0:
        raise ValueError(f"a number written so says nothing about its last digit: {text[:40]!r}; write ±")
    return half
