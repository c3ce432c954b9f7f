"""CSV and XML say what the run says, whatever characters stand in it."""

from __future__ import annotations

import csv
import io
from dataclasses import replace
from xml.etree import ElementTree as ET

import pytest

from rig.events import RunEnded, RunRecord, RunStarted
from rig.limits import Verdict
from rig.reports.exports import HEAD, as_csv, as_junit
from tests.records.shop import result

NASTY = '=1+1,"x"\n<y>&\x00\x1b'


def record(*verdicts: Verdict, text: str = "plain") -> RunRecord:
    started = RunStarted(
        0.0, "r", "final-inspection", "1", "demo-18-dc", text, "simulated", True, text, "", None, (),
        "2026-03-02T08:00:00.000+00:00", len(verdicts), 1.0, "",
    )  # fmt: skip
    steps = tuple(replace(result(f"step-{n}", v), reason=text) for n, v in enumerate(verdicts))
    return RunRecord(started, steps, RunEnded(9.0, Verdict.FAIL, None, True, 9.0, 1.0))


def test_csv_is_a_line_a_step_and_reads_back() -> None:
    lines = list(csv.reader(io.StringIO(as_csv(record(*Verdict)))))
    assert tuple(lines[0]) == HEAD
    assert len(lines) == 1 + len(Verdict)
    rows = [dict(zip(lines[0], line, strict=True)) for line in lines[1:]]
    assert [row["verdict"] for row in rows] == [str(v) for v in Verdict]
    assert float(rows[-1]["value"]) == 5.0
    assert next(row for row in rows if row["verdict"] == "no reading")["value"] == ""  # never 0
    assert rows[-1]["decision_rule"] == "non-binary statement with guard band (w = U)"  # ILAC-G8:09/2019, 4.2.3


def test_csv_holds_no_formula_and_no_control_character() -> None:
    made = as_csv(record(Verdict.FAIL, text=NASTY))
    (row,) = list(csv.DictReader(io.StringIO(made)))
    assert row["serial"].startswith("'=1+1")
    assert "\x1b" not in made
    assert "\x00" not in made


def test_junit_counts_what_a_test_runner_would_count() -> None:
    """As pytest writes it: failure, error and skipped below the test case, their numbers at the suite."""
    suite = ET.fromstring(as_junit(record(*Verdict)).split("\n", 1)[1]).find("testsuite")
    assert suite is not None
    counts = {name: int(suite.get(name, "-1")) for name in ("tests", "failures", "errors", "skipped")}
    assert counts == {"tests": 8, "failures": 2, "errors": 2, "skipped": 2}
    assert len(suite.findall("testcase/failure")) == 2
    assert len(suite.findall("testcase/error")) == 2
    assert len(suite.findall("testcase/skipped")) == 2
    rules = {each.get("value") for each in suite.findall("testcase/properties/property[@name='decision rule']")}
    assert rules == {"non-binary statement with guard band (w = U)"}


@pytest.mark.parametrize("text", [NASTY, "\ufffe", "]]>", "\u202e"])
def test_junit_is_well_formed_whatever_stands_in_it(text: str) -> None:
    made = as_junit(record(Verdict.FAIL, text=text))
    assert ET.fromstring(made.split("\n", 1)[1]).tag == "testsuites"
