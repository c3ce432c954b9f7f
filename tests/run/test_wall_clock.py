"""The wall's clock may be set in the middle of a run: nothing is timed by it."""

from __future__ import annotations

import ast
import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from rig.events import Event, RunStarted, Sampled, StepStarted
from rig.limits import Verdict
from rig.run.journal import ListJournal
from rig.run.session import RunRequest, run_procedure
from tests.conftest import bundled_plan, inspection

ROOT = Path(__file__).parents[2]
NOON = datetime(2027, 3, 28, 0, 59, 50, tzinfo=UTC)  # a summer time begins ten seconds later in much of Europe

# Where the date and time of day are written down; nowhere else are they asked for.
WRITTEN_DOWN = {
    "rig/bench/claim.py",
    "rig/bench/latch.py",
    "rig/bench/meter_path.py",
    "rig/bench/rollcall.py",
    "rig/bench/watchman.py",
    "rig/plan/expected.py",
    "rig/run/run_in_log.py",
    "rig/run/session.py",
}
ROOMS = ("rig/plan", "rig/bench", "rig/run", "drivers")
OF_THE_WALL = {"time", "time_ns", "now", "today", "utcnow", "localtime", "gmtime", "ctime"}


@pytest.mark.parametrize("jump", [timedelta(days=-400), timedelta(hours=1), timedelta(days=4000)])
def test_setting_the_clock_in_mid_run_changes_no_reading(jump: timedelta, monkeypatch: pytest.MonkeyPatch) -> None:
    set_by = [timedelta(0)]
    true = time.time

    def wall() -> datetime:
        return NOON + set_by[0]

    def watch(event: Event) -> None:
        if isinstance(event, (StepStarted, Sampled)) and event.step in ("fill-time", "time-40-to-90"):
            set_by[0] += jump
            monkeypatch.setattr("time.time", lambda: true() + set_by[0].total_seconds())

    journal = ListJournal()
    record = run_procedure(RunRequest(run="test", seed=2, wall=wall), bundled_plan(), [watch], lambda _: journal)
    assert abs(set_by[0]) > abs(jump), "it was set more than once"
    quiet = inspection(2)
    assert record.steps == quiet.steps
    assert (record.ended.verdict, record.ended.at) == (Verdict.PASS, quiet.ended.at)
    (started,) = [e for e in journal.events if isinstance(e, RunStarted)]
    assert started.utc == "2027-03-28T00:59:50.000+00:00"


def test_a_wall_clock_of_another_zone_is_recorded_as_utc() -> None:
    from datetime import timezone

    here: Callable[[], datetime] = lambda: datetime(2027, 1, 1, 0, 30, tzinfo=timezone(timedelta(hours=2)))  # noqa: E731
    plan = bundled_plan("bench-self-check")
    record = run_procedure(RunRequest(run="test", wall=here), plan, [], lambda _: ListJournal())
    assert record.started.utc == "2026-12-31T22:30:00.000+00:00"


def test_nothing_that_times_or_guards_asks_the_wall() -> None:
    asked = set()
    for room in ROOMS:
        for path in sorted((ROOT / room).glob("*.py")):
            for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
                if isinstance(node, ast.Attribute) and node.attr in OF_THE_WALL and isinstance(node.value, ast.Name):
                    clock = (node.value.id, node.attr)
                    if clock[0] in ("datetime", "date") or clock in (("time", "time"), ("time", "time_ns")):
                        asked.add(path.relative_to(ROOT).as_posix())
                if isinstance(node, ast.ImportFrom) and node.module == "time":
                    assert not OF_THE_WALL & {a.name for a in node.names}, path
    assert asked <= WRITTEN_DOWN
    assert "rig/run/session.py" in asked, "the search finds what is there"
