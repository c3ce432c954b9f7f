"""Traces as pictures that scale: one SVG a step, drawn by matplotlib without a window."""

from __future__ import annotations

import io
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from rig.events import Event, Traced
from rig.plan.visible import visible
from rig.shown.numbers import unit_text

_WIDTH, _HEIGHT = 7.2, 1.7  # inches: the width of a printed page, and so much for each quantity


@dataclass(frozen=True)
class Trace:
    """What was recorded of one quantity in one step: times in s and values."""

    step: str
    quantity: str
    unit: str
    times: tuple[float, ...]
    values: tuple[float, ...]


def traces_of(events: Iterable[Event]) -> dict[str, list[Trace]]:
    """The traces by step, their chunks put together."""
    found: dict[tuple[str, str], Trace] = {}
    for event in events:
        if isinstance(event, Traced):
            key = (event.step, event.quantity)
            before = found.get(key)
            times = event.times if before is None else before.times + event.times
            values = event.values if before is None else before.values + event.values
            found[key] = Trace(event.step, event.quantity, event.unit, times, values)
    by_step: dict[str, list[Trace]] = {}
    for trace in found.values():
        if trace.values:
            by_step.setdefault(trace.step, []).append(trace)
    return by_step


def drawn(traces: Sequence[Trace]) -> str:
    """The traces of one step below each other, on one axis of time."""

    def draw(figure: Any) -> None:
        axes = figure.subplots(len(traces), 1, sharex=True, squeeze=False)[:, 0]
        for axis, trace in zip(axes, traces, strict=True):
            axis.plot(trace.times, trace.values, linewidth=1.0, color="#1a1a1a")
            axis.set_ylabel(f"{visible(trace.quantity, 40)}\n{unit_text(trace.unit, True)}")
            axis.grid(linewidth=0.3, color="#999999")
        axes[-1].set_xlabel("s since the run began")

    return as_svg(draw, 0.5 + _HEIGHT * len(traces))


def as_svg(draw: Callable[[Any], None], height: float) -> str:
    """A picture of a page's width and a height in inches, for a place inside a page of HTML. Names are never taken for
    formulas, and the same picture is the same text."""
    import matplotlib
    from matplotlib.backends.backend_svg import FigureCanvasSVG
    from matplotlib.figure import Figure

    settings: Any = {"svg.hashsalt": "refurb-rig", "text.parse_math": False, "font.size": 8, "svg.fonttype": "path"}
    with matplotlib.rc_context(settings):
        figure = Figure(figsize=(_WIDTH, height), layout="constrained")
        FigureCanvasSVG(figure)
        draw(figure)
        out = io.StringIO()
        figure.savefig(out, format="svg", metadata={"Date": None, "Creator": None})
    text = out.getvalue()
    return text[text.index("<svg") :]  # without the XML declaration, which has no place inside a page
