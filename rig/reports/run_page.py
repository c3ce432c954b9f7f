"""A run as one page of HTML that needs nothing else: readings on their rulers, budgets, traces, what people said."""

from __future__ import annotations

import importlib.resources
from typing import Any

from rig.events import AllOff, Answered, Event, Noted, Prompted, StageStarted, StepEnded, StepResult
from rig.limits import Verdict, judge
from rig.records.declared import Declared
from rig.records.read import Checked, StoredRun
from rig.reports.plots import drawn, traces_of
from rig.reports.words import DECISION_RULE, PRACTICE_SAYS, limit_of, reading_of, text, when, who_of
from rig.shown.numbers import minutes_text, significant, unit_text
from rig.shown.ruler import Zone, ruler

_CELL, _HIGH = 9, 16  # px of a ruler's cell
_COLOURS = {
    Zone.OUT: "#e3e3e3",
    Zone.OUT_GUARD: "#c9c9c9",
    Zone.IN_GUARD: "#a9cbe6",
    Zone.IN: "#d3e6f4",
    Zone.END: "#1a1a1a",
}
_CLASSES = {
    Verdict.PASS: "good",
    Verdict.CONDITIONAL_PASS: "nearly",
    Verdict.CONDITIONAL_FAIL: "bad",
    Verdict.FAIL: "bad",
    Verdict.NO_READING: "rig",
    Verdict.STOPPED: "rig",
}


def run_page(own: Declared, stored: StoredRun, checked: Checked) -> str:
    """The page. All text in it is escaped, and made safe to show."""
    from jinja2 import Environment, StrictUndefined

    source = importlib.resources.files("rig.reports").joinpath("run_page.html").read_text(encoding="utf-8")
    environment = Environment(autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True)
    return environment.from_string(source).render(_view(own, stored, checked))


def _view(own: Declared, stored: StoredRun, checked: Checked) -> dict[str, Any]:
    from markupsafe import Markup

    started, ended = stored.record.started, stored.record.ended
    return {
        "title": f"Run {started.run}",
        "heading": text(own.heading()),
        "practice": PRACTICE_SAYS if own.practice else "",
        "simulated": "SIMULATED: no real unit was on this bench" if started.simulated else "",
        "facts": [
            ("Procedure", f"{text(started.procedure)}, revision {text(started.revision)}"),
            ("Unit", text(started.unit) or "none"),
            ("Serial number", text(started.serial) or "none given"),
            ("Job", text(started.job) or "none"),
            ("Bench", text(started.bench)),
            ("Run by", text(started.by) or "nobody who is named"),
            ("Answered by", text(started.answered_by) or "nobody"),
            ("Began", when(started.utc)),
            ("Took", f"{minutes_text(ended.seconds)} of the unit's time"),
            ("Faults put in", ", ".join(f"{text(n)} {s:g}" for n, s in started.faults) or "none"),
            ("Run", started.run),
        ],
        "verdict": str(ended.verdict),
        "verdict_class": _CLASSES.get(ended.verdict, "none"),
        "reason": text(ended.reason or ""),
        "off": "Everything was off at the end, and confirmed." if ended.all_off else _not_off(stored.events),
        "all_off": ended.all_off,
        "stages": _stages(stored.events, Markup),
        "rule": DECISION_RULE,
        "notes": [text(e.text) for e in stored.events if isinstance(e, Noted)],
        "talk": _talk(stored.events),
        "chain": f"{checked.events} events, last hash {checked.head}",
        "problems": [text(problem) for problem in checked.problems],
    }


def _not_off(events: tuple[Event, ...]) -> str:
    last = next((e for e in reversed(events) if isinstance(e, AllOff)), None)
    names = ", ".join(text(name) for name in last.unconfirmed) if last is not None else "anything"
    return f"NOT CONFIRMED OFF: {names or 'not everything'}."


def _stages(events: tuple[Event, ...], markup: Any) -> list[dict[str, Any]]:
    traces = traces_of(events)
    by = next((e.by for e in events if hasattr(e, "by")), "")
    found: list[dict[str, Any]] = [{"title": "", "drive": "", "cautions": [], "steps": []}]
    for event in events:
        if isinstance(event, StageStarted):
            cautions = [text(c) for c in event.cautions]
            found.append({"title": text(event.title), "drive": event.drive, "cautions": cautions, "steps": []})
        elif isinstance(event, StepEnded):
            step = _step(event.result, by, markup)
            plot = traces.pop(event.result.name, None)
            step["plot"] = markup(drawn(plot)) if plot else ""
            found[-1]["steps"].append(step)
    return [stage for stage in found if stage["steps"] or stage["title"]]


def _step(result: StepResult, by: str, markup: Any) -> dict[str, Any]:
    reading = result.reading
    chance = result.conformance_probability
    return {
        "name": text(result.name),
        "verdict": str(result.verdict),
        "class": _CLASSES.get(result.verdict, "none"),
        "attempt": result.attempt,
        "reading": reading_of(result),
        "limit": limit_of(result),
        "source": text(result.limit.source) if result.limit is not None else "",
        "rule": str(result.limit.rule) if result.limit is not None else "",
        "reason": text(result.reason or ""),
        "ruler": markup(ruler_svg(result)),
        "chance": "" if chance is None else f"{100 * chance:.1f} %",
        "by": who_of(result, by),
        "budget": [] if reading is None else [_line(line) for line in reading.budget],
        "combined": "" if reading is None else f"{significant(reading.u, 3)} {unit_text(reading.unit, True)}",
        "parts": [] if reading is None else [(text(n), significant(u, 3)) for n, u in reading.parts],
        "corrections": [] if reading is None else [_correction(c) for c in reading.corrections],
        "raw": "" if reading is None else ", ".join(f"{v:.9g}" for v in reading.raw[:50]),
        "bracket": "" if result.bracket is None else f"{result.bracket[0]:.3f} s to {result.bracket[1]:.3f} s",
    }


def _line(line: Any) -> tuple[str, ...]:
    dof = "∞" if line.dof is None else significant(line.dof, 3)
    share = abs(line.sensitivity * line.u)
    return (
        text(line.name),
        significant(line.u, 3),
        line.distribution,
        dof,
        significant(line.sensitivity, 3),
        significant(share, 3),
        text(line.basis),
    )


def _correction(correction: Any) -> str:
    before = f"{correction.before:.6g} {unit_text(correction.before_unit, True)}"
    after = f"{correction.after:.6g} {unit_text(correction.unit, True)}"
    return f"{text(correction.name)}: {before} to {after}, {text(correction.basis)}"


def _talk(events: tuple[Event, ...]) -> list[tuple[str, str, str, str]]:
    """What was asked, and who answered what."""
    asked: dict[str, str] = {}
    found = []
    for event in events:
        if isinstance(event, Prompted):
            asked[event.step] = event.question
        elif isinstance(event, Answered):
            found.append(
                (text(event.step), text(asked.get(event.step, "")), text(event.answer), text(event.answered_by))
            )
    return found


def ruler_svg(result: StepResult) -> str:
    """The ruler of a reading; empty where there is none, or it was judged on other grounds.

    Like the ruler at the terminal it never contradicts the verdict: the mark stands where the verdict says.
    """
    reading, limit = result.reading, result.limit
    if reading is None or limit is None or reading.unit != limit.unit:
        return ""
    try:
        if judge(reading.value, reading.u, limit, reading.dof).verdict is not result.verdict:
            return ""
        made = ruler(reading.value, reading.u, limit, reading.dof)
    except ValueError:  # not a finite number, or nothing can be accepted
        return ""
    width = _CELL * len(made.zones)
    parts = [
        f'<rect x="{n * _CELL + (3 if zone is Zone.END else 0)}" y="4" width="{3 if zone is Zone.END else _CELL}" '
        f'height="{_HIGH - 8}" fill="{_COLOURS[zone]}"/>'
        for n, zone in enumerate(made.zones)
    ]
    x = made.mark * _CELL + _CELL / 2
    shape = {
        0: f"{x},2 {x + 5},8 {x},14 {x - 5},8",
        1: f"{x - 4},3 {x + 5},8 {x - 4},13",
        -1: f"{x + 4},3 {x - 5},8 {x + 4},13",
    }
    parts.append(f'<polygon points="{shape[made.off]}" fill="#000"/>')
    says = f"{result.verdict}: the mark shows where the reading lies against its limit"
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width}" height="{_HIGH}" role="img" '
        f'aria-label="{says}">{"".join(parts)}</svg>'
    )
