"""A run for other programs: CSV (RFC 4180) and the XML that test reports use."""

from __future__ import annotations

import csv
import io
import re
from xml.etree import ElementTree as ET

from rig.events import RunRecord, StepResult
from rig.limits import Verdict
from rig.plan.visible import visible

HEAD = (
    "run", "procedure", "unit", "serial", "job", "by", "utc", "step", "attempt", "verdict", "value", "unit_code", "u",
    "bound", "at_least", "at_most", "limit_source", "conformance_probability", "answer", "reason", "started_s",
    "ended_s", "decision_rule", "uncertainty_ratio",
)  # fmt: skip
_FORMULA = re.compile(r"[=+\-@\t\r]")


def as_csv(record: RunRecord) -> str:
    """One line a step, numbers in canonical units; what could be taken for a formula by a spreadsheet is quoted."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(HEAD)
    for step in record.steps:
        writer.writerow([_cell(value) for value in _row(record, step)])
    return out.getvalue()


def _row(record: RunRecord, step: StepResult) -> list[object]:
    s, reading, limit = record.started, step.reading, step.limit
    return [
        s.run, s.procedure, s.unit, s.serial, s.job, s.by, s.utc, step.name, step.attempt, str(step.verdict),
        *((reading.value, reading.unit, reading.u, reading.bound) if reading is not None else (None,) * 4),
        *((limit.at_least, limit.at_most, limit.source) if limit is not None else (None,) * 3),
        step.conformance_probability, step.answer, step.reason, step.started, step.ended,
        None if limit is None else str(limit.rule), step.ratio,
    ]  # fmt: skip


def _cell(value: object) -> object:
    if value is None:
        return ""
    if isinstance(value, str):
        shown = visible(value, 2000)
        return f"'{shown}" if _FORMULA.match(shown) else shown
    return repr(value) if isinstance(value, float) else value


def as_junit(record: RunRecord) -> str:
    """The run as a test suite, each step a test case, as pytest writes them (there is no formal standard).

    A step that could not be measured is an error, never a failure: it says nothing against the unit.
    """
    s, e = record.started, record.ended
    counts = {"tests": 0, "failures": 0, "errors": 0, "skipped": 0}
    suite = ET.Element("testsuite", name=visible(s.procedure), timestamp=s.utc, time=f"{e.seconds:.3f}")
    suite.set("hostname", visible(s.bench))
    for step in record.steps:
        counts["tests"] += 1
        case = ET.SubElement(suite, "testcase", classname=f"{visible(s.procedure)}.{visible(s.unit) or 'none'}")
        case.set("name", visible(step.name) + (f" (attempt {step.attempt})" if step.attempt > 1 else ""))
        case.set("time", f"{max(0.0, step.ended - step.started):.3f}")
        if step.limit is not None:
            properties = ET.SubElement(case, "properties")
            ET.SubElement(properties, "property", name="decision rule", value=str(step.limit.rule))
        kind = _KIND.get(step.verdict)
        if kind is not None:
            tag, count = kind
            counts[count] += 1
            shown = step.reading.shown if step.reading is not None else ""
            message = "; ".join(part for part in (str(step.verdict), shown, step.reason or "") if part)
            ET.SubElement(case, tag, message=visible(message, 400))
    for name, number in counts.items():
        suite.set(name, str(number))
    root = ET.Element("testsuites", name="refurb-rig")
    root.append(suite)
    ET.indent(root)
    return '<?xml version="1.0" encoding="utf-8"?>\n' + ET.tostring(root, encoding="unicode") + "\n"


_KIND: dict[Verdict, tuple[str, str]] = {
    Verdict.FAIL: ("failure", "failures"),
    Verdict.CONDITIONAL_FAIL: ("failure", "failures"),
    Verdict.NO_READING: ("error", "errors"),
    Verdict.STOPPED: ("error", "errors"),
    Verdict.NOT_EVALUATED: ("skipped", "skipped"),
    Verdict.NOT_RUN: ("skipped", "skipped"),
}
