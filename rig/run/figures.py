"""The one number of a recorded trace: its value, its canonical unit, the lines of its budget."""

from __future__ import annotations

import math
from collections.abc import Sequence

from rig.judgement.accuracy import Statement
from rig.run.timing import clock_line
from rig.run.traces import slope
from rig.steam import f0
from rig.uncertainty import Line, scatter, total

Figure = tuple[float, str, list[Line], str]


def figure(how: str, statement: Statement, code: str, times: Sequence[float], values: Sequence[float]) -> Figure:
    """Figure ``how`` of a trace in the canonical unit ``code``: value, unit, budget, and a remark for people.

    Raises ValueError for a trace that does not show it.
    """
    if not values:
        raise ValueError("the recording ended before its first point")
    rate = "K/s" if code == "Cel" else f"{code}/s"
    if how == "slope":
        rise, u = slope(times, values)
        scattered = Line("scatter", u, "about the straight line", "t", float(len(times) - 2))
        return rise, rate, [scattered, statement.slope_line(times[-1] - times[0])], ""
    if how == "mean":
        mean = math.fsum(values) / len(values)
        return mean, code, [*statement.lines(mean), *([scatter(values)] if len(values) > 1 else [])], ""
    if how == "lethality":
        return _lethality(statement, times, values)
    if how in ("onset", "plateau", "overshoot", "leak"):
        return _of_the_course(how, statement, code, times, values)
    value = {"highest": max(values), "lowest": min(values), "last": values[-1]}[how]
    return value, code, [*statement.lines(value)], ""


def contact_figure(how: str, times: Sequence[float], values: Sequence[float], slack: float) -> Figure:
    """Figure ``how`` of a trace of an input, in s; ``slack`` is what the time of a point may be off by. Raises as
    :func:`figure`."""
    from rig.waveforms import contacts

    found = (contacts.chatter if how == "chatter" else contacts.first_contact)(times, values, slack)
    edges = Line("edges", found.u, "each between two points of the record")
    return found.value, "s", [edges, clock_line(found.value)], found.remark


LONGEST_GAP = 30.0  # s between two points, above which the time between them proves nothing (no source; our own choice)


def _lethality(statement: Statement, times: Sequence[float], values: Sequence[float]) -> Figure:
    """F0 in s, with its base and z; the sensor's error is common to all points."""
    found = f0(times, values, longest_gap=LONGEST_GAP)
    u, _ = total(statement.lines(found.base))
    error = Line("sensor", u, f"{statement.source}, common to all points", sensitivity=found.u(1.0))
    gaps = f", {found.gaps:.3g} s without points not counted" if found.gaps else ""
    return found.seconds, "s", [error], f"F0 with base {found.base:g} Cel and z {found.z:g} K{gaps}"


def _of_the_course(
    how: str, statement: Statement, code: str, times: Sequence[float], values: Sequence[float]
) -> Figure:
    from rig.waveforms import curves

    if how == "leak":
        found = curves.leak_rate(times, values)
        unit, more = f"{code}/s", [statement.slope_line(curves.WATCH)]
    elif how == "onset":
        found, unit, more = curves.onset(times, values), "s", []
    elif how == "overshoot":
        found = curves.overshoot(times, values)
        unit = "K" if code == "Cel" else code
        more = [each for each in statement.lines(found.value) if each.name == "resolution"]
    else:
        found = curves.plateau(times, values)
        unit, more = code, [*statement.lines(found.value)]
    scattered = Line("scatter", found.u, "of the points of the record", "t", found.dof)
    return found.value, unit, [scattered, *more], found.remark
