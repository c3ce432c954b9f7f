"""Waveforms: a fast record of a coil's current, the one number that is judged of it, and whether its plunger moved."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

from rig.bench.meter_path import MeterReading
from rig.judgement.accuracy import Statement
from rig.run.readings import shunt_line
from rig.uncertainty import Line, line

if TYPE_CHECKING:  # numpy is imported by the step that needs it
    from rig.waveforms.coil import Rise

FAINT = 3.0  # times the fixed part of the accuracy: a current below this is none

Figure = tuple[float, str, list[Line]]


def figure_of(judge: str, said: MeterReading, interval: float, period: float | None) -> Figure:
    """The number that is judged of a record, its canonical unit, the lines of its budget.

    ``interval`` and the mains ``period`` (for ``inrush to holding`` only) are in s. Raises ValueError for a record that
    does not show it."""
    from rig.waveforms import coil

    values = amps_of(said)
    scale = 1.0 if said.shunt is None else 1.0 / said.shunt
    if judge == "inrush to holding" and period is not None:
        return _inrush(values, round(period / interval), said.statement, scale)
    if judge in ("inductance growth", "time constant"):
        return _of_the_rise(judge, coil.rise(values, interval), interval)
    value = coil.dip(values) if judge == "dip" else max(values) if judge == "highest" else values[-1]
    ends = 2.0 if judge == "dip" else 1.0
    lines = [Line("noise", coil.noise(values) * math.sqrt(ends), "of the end of the record", "normal")]
    if said.statement is not None:
        half = said.statement.half_width(value / scale) + (ends - 1.0) * said.statement.half_width(0.0)
        lines.append(line("accuracy", half * scale, said.statement.source))
    if said.shunt is not None:
        lines.append(shunt_line(said, value))
    return value, said.unit if said.shunt is None else "A", lines


def amps_of(said: MeterReading) -> list[float]:
    """The record in A where a shunt is known, else as the meter gave it."""
    scale = 1.0 if said.shunt is None else 1.0 / said.shunt
    return [v * scale for v in said.values]


def plunger_of(judge: str, said: MeterReading, interval: float, period: float | None) -> str | None:
    """Whether the plunger moved, in words, for figures that are about that; None for others, and for records too short
    to tell."""
    from rig.waveforms import plunger

    try:
        if judge == "inrush to holding" and period is not None:
            found = plunger.on_ac(amps_of(said), interval, period)
        elif judge in ("dip", "inductance growth"):
            found = plunger.on_dc(amps_of(said), interval)
        else:
            return None
    except ValueError:
        return None
    words = {True: "the plunger moved", False: "the plunger did not move", None: "not known whether the plunger moved"}
    return f"{words[found.moved]}: {found.why} (false alarm by noise below {found.false_alarm:g})"


def _of_the_rise(judge: str, rise: Rise, interval: float) -> Figure:
    known = rise.growth if judge == "inductance growth" else rise.early
    if known is None:
        raise ValueError("the record does not show the rise of a current")
    lines = [Line("noise", known[1], "of the record, through the time constants", "normal")]
    if judge == "time constant":
        lines.append(line("sampling", interval / 2.0, "half an interval"))
    return known[0], "1" if judge == "inductance growth" else "s", lines


def _inrush(values: Sequence[float], window: int, statement: Statement | None, scale: float) -> Figure:
    """Gain and zero of the meter fall out of the quotient; its linearity, taken as the share of the reading, stays."""
    from rig.waveforms.alternating import departure, rms
    from rig.waveforms.coil import noise

    holding = rms(values[-window:])
    floor = 0.0 if statement is None else statement.half_width(0.0) * scale
    if holding <= FAINT * floor:
        return 0.0, "%", [line("accuracy", 0.1, "no current, so no plunger that moved")]
    change = 100.0 * departure(values, window)
    lines = [Line("noise", 100.0 * noise(values) / holding, "of the end of the record", "normal")]
    if statement is not None:
        share = statement.half_width(1.0) - statement.half_width(0.0)
        lines.append(line("accuracy", share * change, "the share of the reading, for want of the linearity"))
    return change, "%", lines
