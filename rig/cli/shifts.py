"""The bench's reference parts over the shifts, as ``rig bench --self-check`` shows them."""

from __future__ import annotations

from dataclasses import asdict
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from rig.cli.printer import Printer
    from rig.records.shifts import Chart


def chart_values(found: tuple[Chart, ...]) -> list[dict[str, Any]]:
    """The charts as JSON values."""
    return [asdict(each) for each in found]


def print_charts(found: tuple[Chart, ...], out: Printer) -> None:
    """A table of the parts, and a line for each that warns."""
    from rig.cli.table import table

    rows = []
    for each in found:
        chart, average = each.state.chart, each.state.average
        rows.append(
            (
                each.step,
                f"{each.value:.6g} {each.unit}",
                f"{each.lower:.6g} to {each.upper:.6g}",
                str(each.earlier),
                "-" if chart is None else f"{chart.lower:.6g} to {chart.upper:.6g}",
                "-" if average is None else f"{average.averages[-1]:.6g}",
                each.state.warning or "quiet",
            )
        )
    head = ("reference part", "now", "limits", "earlier checks", "chart", "average", "says")
    out.line("", *table(head, rows, out.width))
