"""Numbers as people read them: a reading with its uncertainty, a limit, a distance."""

from __future__ import annotations

import math
from dataclasses import dataclass

from rig.distributions import coverage_factor
from rig.events import Reading
from rig.limits import Limit
from rig.quantities import convert, unit

_LARGE = 1e9  # from here on, and below its inverse, numbers are written with an exponent


@dataclass(frozen=True)
class Shown:
    """A reading with its expanded uncertainty (about 95 %) and its limit, all in the unit in which the limit's author
    thinks."""

    value: float
    expanded: float
    unit: str
    limit: Limit | None


def shown_together(reading: Reading, limit: Limit | None) -> Shown:
    """The reading in the limit's unit where it has one that fits; else both as they are."""
    expanded = coverage_factor(reading.dof) * reading.u
    if limit is None:
        return Shown(reading.value, expanded, reading.unit, None)
    target = limit.shown_in or limit.unit
    try:
        value = convert(reading.value, reading.unit, target)
        limit_shown = shown_limit(limit)
        scale = unit(reading.unit).factor / unit(target).factor
    except ValueError:
        return Shown(reading.value, expanded, reading.unit, limit)
    return Shown(value, expanded * scale, target, limit_shown)


def shown_limit(limit: Limit) -> Limit:
    """A limit in the unit in which its author thinks."""
    target = limit.shown_in or limit.unit
    ends = [None if e is None else convert(e, limit.unit, target) for e in (limit.at_least, limit.at_most)]
    return Limit(ends[0], ends[1], target, limit.source, target, limit.rule)


def unit_text(code: str, fancy: bool) -> str:
    """A unit for a person: with ``fancy`` its printed sign (Ω, °C), else its code."""
    try:
        known = unit(code)
    except ValueError:
        return code
    if known.code == "1":
        return ""
    return next((s for s in known.spellings if not s.isascii()), known.code) if fancy else known.code


def with_unit(number: str, code: str, fancy: bool) -> str:
    """A number and its unit."""
    return f"{number} {unit_text(code, fancy)}".rstrip()


def places_for(value: float, digits: int) -> int | None:
    """Decimal places (negative: tens) that give a number so many significant digits.

    None for nothing, and for a number that is written with an exponent.
    """
    if not 1 / _LARGE < abs(value) < _LARGE:
        return None
    return digits - 1 - math.floor(math.log10(abs(value)))


def significant(value: float, digits: int) -> str:
    """A number rounded to so many significant digits, without an exponent where it is of a common size."""
    places = places_for(value, digits)
    if places is None:
        return f"{value:.{digits}g}"
    return without_idle_zeros(to_places(value, places))


def without_idle_zeros(text: str) -> str:
    """``14.10`` as ``14.1``, ``100`` as it is."""
    return text.rstrip("0").rstrip(".") if "." in text else text


def places_of(expanded: float) -> int | None:
    """Decimal places (negative: tens) that an expanded uncertainty leaves; None where there is none to go by.

    It is given to two significant digits (GUM 7.2.6).
    """
    places = places_for(expanded, 2)
    # 0.0996 becomes 0.10, which has one place less
    return None if places is None or expanded < 0 else places_for(round(expanded, places), 2)


def to_places(value: float, places: int) -> str:
    """A number rounded to decimal places, or to tens where ``places`` is negative."""
    rounded = round(value, places) + 0.0  # no minus before nothing
    return f"{rounded:.{max(0, places)}f}"


def reading_text(value: float, expanded: float, code: str, bound: str | None, fancy: bool) -> str:
    """``82.41 ± 0.10 s``: the value, its expanded uncertainty, the unit."""
    if bound is not None:
        return with_unit(f"{bound} {significant(value, 4)}", code, fancy)
    places = places_of(expanded)
    if places is None or abs(value) >= _LARGE:
        return with_unit(f"{value:.6g}", code, fancy)
    sign = "±" if fancy else "+-"
    return with_unit(f"{to_places(value, places)} {sign} {to_places(expanded, places)}", code, fancy)


def limit_text(limit: Limit, fancy: bool) -> str:
    """``60–120 s``, ``≤ 0.2 Ω``."""
    low, high = limit.at_least, limit.at_most
    if low is not None and high is not None:
        dash = "–" if fancy and low >= 0 else ".."
        return with_unit(f"{significant(low, 5)}{dash}{significant(high, 5)}", limit.unit, fancy)
    if high is not None:
        return with_unit(f"{'≤' if fancy else '<='} {significant(high, 5)}", limit.unit, fancy)
    assert low is not None
    return with_unit(f"{'≥' if fancy else '>='} {significant(low, 5)}", limit.unit, fancy)


def distance_text(value: float, limit: Limit, fancy: bool) -> str:
    """``6.3 V below the least allowed 20.4 V``: where a value lies against the end that decides."""
    low, high, code = limit.at_least, limit.at_most, limit.unit
    at_low = high is None or (low is not None and value - low <= high - value)
    end = low if at_low else high
    assert end is not None
    how_far = with_unit(significant(abs(value - end), 3), code, fancy)
    side = "below" if value < end else "above"
    name = "least" if at_low else "most"
    return f"{how_far} {side} the {name} allowed {with_unit(significant(end, 5), code, fancy)}"


def minutes_text(seconds: float) -> str:
    """``7:05``; with hours ``1:07:05``."""
    whole = max(0, int(seconds))
    hours, rest = divmod(whole, 3600)
    return f"{hours}:{rest // 60:02d}:{rest % 60:02d}" if hours else f"{rest // 60}:{rest % 60:02d}"
