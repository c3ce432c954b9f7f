"""The course of a quantity in characters: one line while it goes on, a picture with its limits afterwards."""

from __future__ import annotations

import math
from collections.abc import Sequence

from rich.text import Text

from rig.cli.looks import Looks
from rig.events import StepResult
from rig.screen import palette
from rig.screen.scene import Trace
from rig.shown.numbers import significant, with_unit

_LEVELS, _PLAIN = "▁▂▃▄▅▆▇█", "_.-:=+*#"


def sparkline(values: Sequence[float], looks: Looks, width: int) -> Text:
    """The latest ``width`` values as one line, between the least and the greatest of them."""
    levels = looks.pick(_LEVELS, _PLAIN)
    shown = [v for v in values[-width:] if math.isfinite(v)]
    if not shown:
        return Text()
    low, high = min(shown), max(shown)
    scale = (len(levels) - 1) / (high - low) if high > low else 0.0
    return Text("".join(levels[round((v - low) * scale)] for v in shown), palette.SKY)


def plot(trace: Trace, result: StepResult | None, looks: Looks, width: int, height: int) -> list[Text]:
    """The whole trace, with the limit of its step drawn in where the limit is one of this quantity, or of time."""
    points = [(t, v) for t, v in trace.points if math.isfinite(v)]
    if len(points) < 2 or width < 20 or height < 3:
        return []
    ends = _ends(trace, result, "value")
    low, high = min(v for _, v in points), max(v for _, v in points)
    if ends:
        reach = 1.5 * (high - low) or abs(high) or 1.0
        low, high = (
            min(low, *(e for e in ends if e > low - reach), low),
            max(high, *(e for e in ends if e < high + reach), high),
        )
    span = (high - low) or abs(high) or 1.0
    marks = [with_unit(significant(v, 3), trace.unit, looks.fancy) for v in (high, low)]
    room = max(len(m) for m in marks) + 1
    columns, first, last = width - room, points[0][0], points[-1][0]
    last = max([last, *_ends(trace, result, "time")])
    grid = [[(" ", "")] * columns for _ in range(height)]

    def column(at: float) -> int:
        return min(columns - 1, max(0, int((at - first) / ((last - first) or 1.0) * (columns - 1))))

    def row(value: float) -> int:
        return min(height - 1, max(0, round((high - value) / span * (height - 1))))

    for end in ends:
        if low <= end <= high:
            grid[row(end)] = [(looks.pick("┄", "-"), palette.ORANGE)] * columns
    for end in _ends(trace, result, "time"):
        for line in grid:
            line[column(end)] = (looks.pick("┊", ":"), palette.ORANGE)
    for at, value in points:
        grid[row(value)][column(at)] = (looks.pick("•", "*"), palette.SKY)
    lines = []
    for n, cells in enumerate(grid):
        mark = marks[0] if n == 0 else marks[1] if n == height - 1 else ""
        lines.append(Text.assemble(f"{mark:>{room - 1}} ", *cells))
    return lines


def _ends(trace: Trace, result: StepResult | None, of: str) -> list[float]:
    """The ends of the limit: of the quantity itself, or of the time since the step began."""
    if result is None or result.limit is None:
        return []
    ends = [e for e in (result.limit.at_least, result.limit.at_most) if e is not None]
    if of == "value":
        return ends if result.limit.unit == trace.unit else []
    if result.limit.unit != "s" or result.bracket is None or result.reading is None:
        return []
    began = sum(result.bracket) / 2 - result.reading.value
    return [began + end for end in ends]
