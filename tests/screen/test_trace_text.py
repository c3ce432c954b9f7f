"""The course of a quantity in characters, held against its points."""

from __future__ import annotations

import math

from rig.cli.looks import Looks
from rig.events import Reading, StepResult
from rig.limits import Limit, Verdict
from rig.screen.scene import Trace
from rig.screen.trace_text import plot, sparkline

FANCY, PLAIN = Looks(True), Looks(False)


def trace_of(*values: float) -> Trace:
    trace = Trace("step", "level", "mm")
    trace.points.extend((float(n), v) for n, v in enumerate(values))
    return trace


def test_a_sparkline_rises_with_its_values_and_shows_the_latest() -> None:
    assert sparkline([0, 1, 2, 3, 4, 5, 6, 7], FANCY, 8).plain == "▁▂▃▄▅▆▇█"
    assert sparkline([9, 9, 9, 0, 7], FANCY, 2).plain == "▁█"
    assert sparkline([3, 3], PLAIN, 5).plain == "__"
    assert sparkline([], FANCY, 5).plain == ""
    assert sparkline([math.nan, 1], FANCY, 5).plain == "▁"


def test_a_plot_has_its_ends_and_the_limit_of_the_quantity() -> None:
    limit = Limit(None, 12.0, "mm", "a test")
    reading = Reading(10.0, "mm", 0.1, "")
    result = StepResult("step", Verdict.PASS, None, reading, limit, None, None, 0.0, 10.0)
    lines = [line.plain for line in plot(trace_of(*range(11)), result, FANCY, 40, 9)]
    assert len(lines) == 9
    assert lines[0].startswith("12 mm ")
    assert lines[0].count("┄") > 20, "the limit lies above every point"
    assert lines[-1].startswith(" 0 mm •")
    columns = [line.index("•") for line in lines if "•" in line]
    assert columns == sorted(columns, reverse=True), "it rises to the right"


def test_a_limit_of_time_stands_where_that_time_was_up() -> None:
    limit = Limit(None, 5.0, "s", "a test")
    reading = Reading(10.0, "s", 0.1, "")
    result = StepResult("step", Verdict.FAIL, None, reading, limit, None, (9.9, 10.1), 0.0, 10.1)
    lines = [line.plain for line in plot(trace_of(*range(11)), result, FANCY, 47, 5)]
    at = {line.index("┊") for line in lines if "┊" in line}
    room = lines[-1].index("•")
    assert len(at) == 1
    assert abs((at.pop() - room) / (46 - room) - 0.5) < 0.05


def test_nothing_to_draw_is_nothing() -> None:
    assert plot(trace_of(1.0), None, FANCY, 40, 9) == []
    assert plot(trace_of(1.0, 2.0), None, FANCY, 10, 9) == []
    assert len(plot(trace_of(5.0, 5.0), None, FANCY, 40, 3)) == 3
