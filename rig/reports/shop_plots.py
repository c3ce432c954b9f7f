"""The workshop's figures as pictures."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from rig.reports.plots import as_svg
from rig.reports.words import text
from rig.shown.numbers import unit_text

_INK, _PALE, _LINE = "#1a1a1a", "#9db4c0", "#d55e00"
MOST = 12  # bars or charts of one picture


def months(rows: Sequence[dict[str, Any]]) -> str:
    """Units received and shipped, by month."""

    def draw(figure: Any) -> None:
        axis = figure.subplots()
        places = range(len(rows))
        axis.bar([p - 0.2 for p in places], [r["received"] for r in rows], 0.4, color=_PALE, label="received")
        axis.bar([p + 0.2 for p in places], [r["shipped"] for r in rows], 0.4, color=_INK, label="shipped")
        axis.set_xticks(list(places), [r["month"] for r in rows], rotation=60 if len(rows) > MOST else 0)
        axis.set_ylabel("units")
        axis.yaxis.get_major_locator().set_params(integer=True)
        axis.legend(frameon=False)

    return as_svg(draw, 2.4) if rows else ""


def causes(rows: Sequence[dict[str, Any]]) -> str:
    """Causes by repairs, and how many of those cured."""
    some = rows[:MOST]

    def draw(figure: Any) -> None:
        axis = figure.subplots()
        places = range(len(some))
        axis.barh(places, [r["repairs"] for r in some], color=_PALE, label="repaired")
        axis.barh(places, [r["cured"] for r in some], 0.35, color=_INK, label="measured again, and good")
        axis.set_yticks(list(places), [text(r["cause"], 40) for r in some])
        axis.invert_yaxis()
        axis.set_xlabel("repairs")
        axis.legend(frameon=False)

    return as_svg(draw, 0.8 + 0.25 * len(some)) if some else ""


def failures(rows: Sequence[dict[str, Any]]) -> str:
    """The steps that fail most, with the 95 % interval of their share."""
    some = [row for row in rows if row["failed"]][:MOST]

    def draw(figure: Any) -> None:
        axis = figure.subplots()
        places = range(len(some))
        share = [100 * r["share"] for r in some]
        ends = [[100 * (r["share"] - r["low"]) for r in some], [100 * (r["high"] - r["share"]) for r in some]]
        axis.errorbar(share, places, xerr=ends, fmt="o", color=_INK, ecolor=_PALE, capsize=3)
        axis.set_yticks(list(places), [text(f"{r['step']}, {r['bench']}, {r['unit']}", 60) for r in some])
        axis.invert_yaxis()
        axis.set_xlim(-2, 102)
        axis.set_xlabel("% of the judged that failed, with the 95 % interval")
        axis.grid(axis="x", linewidth=0.3)

    return as_svg(draw, 0.8 + 0.25 * len(some)) if some else ""


def drifts(rows: Sequence[dict[str, Any]]) -> str:
    """The values behind each drift, oldest first, with the chart of the older half."""
    some = rows[:MOST]

    def draw(figure: Any) -> None:
        axes = figure.subplots(len(some), 1, squeeze=False)[:, 0]
        for axis, row in zip(axes, some, strict=True):
            axis.plot(row["values"], ".-", linewidth=0.6, color=_INK)
            for value, style in (("centre", "-"), ("chart_lower", ":"), ("chart_upper", ":")):
                axis.axhline(row[value], linestyle=style, linewidth=0.8, color=_PALE)
            axis.axhline(row["average"], linewidth=0.8, color=_LINE)
            axis.set_title(text(f"{row['step']}, {row['bench']}, {row['unit']}", 80), loc="left", fontsize=8)
            axis.set_ylabel(unit_text(row["in_unit"], True))
        axes[-1].set_xlabel("latest runs, oldest first; red: where the average has come to")

    return as_svg(draw, 0.4 + 1.3 * len(some)) if some else ""
