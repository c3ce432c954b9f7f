"""An instrument whose calibration has run out: the roll call says so, and what it reads is kept and not evaluated."""

from __future__ import annotations

from datetime import UTC, datetime
from functools import cache

from rig.events import Event, Noted, RunRecord
from rig.limits import Verdict
from rig.plan.plan import Plan
from tests.conftest import bundled_plan, by_name, run

LAST_DAY = "2027-06-30"  # of meter-1 in the bundled bench


def on(day: str, plan: Plan, events: list[Event] | None = None, **request: object) -> RunRecord:
    """A run whose computer says that it is this day."""
    when = datetime.fromisoformat(f"{day}T12:00:00").replace(tzinfo=UTC)
    return run(plan, events, wall=lambda: when, seed=1, **request)


@cache
def a_day_late() -> tuple[RunRecord, tuple[Event, ...]]:
    events: list[Event] = []
    return on("2027-07-01", bundled_plan(), events), tuple(events)


def test_until_its_last_day_the_meter_counts() -> None:
    assert bundled_plan().bench.instruments["meter-1"].calibrated_until == LAST_DAY
    assert on(LAST_DAY, bundled_plan()).ended.verdict is Verdict.PASS


def test_a_day_later_the_run_warns_at_its_start_and_evaluates_nothing_of_it() -> None:
    record, events = a_day_late()
    warned = next(e.text for e in events if isinstance(e, Noted) and "meter-1" in e.text)
    assert "calibrated until 2027-06-30, and today is 2027-07-01" in warned
    steps = by_name(record)
    for name in ("proved-dead", "coil-resistance", "heater-cold-resistance"):
        assert steps[name].verdict is Verdict.NOT_EVALUATED, name
        assert steps[name].reading is not None, "kept"
        assert steps[name].conformance_probability is None
        assert "calibrated until 2027-06-30" in (steps[name].reason or "")
    assert steps["ambient"].verdict is Verdict.PASS, "read by another instrument"
    assert record.ended.verdict is Verdict.NOT_EVALUATED


def test_what_is_computed_from_such_a_reading_is_not_evaluated_either() -> None:
    record, _ = a_day_late()
    computed = [s for s in record.steps if (s.reason or "").startswith("computed from")]
    assert computed, "the inspection computes at least one figure from the meter's readings"
    assert {s.verdict for s in computed} == {Verdict.NOT_EVALUATED}
    for step in computed:
        assert "meter-1" in (step.reason or "")


def test_a_sensor_out_of_calibration_puts_the_time_between_two_temperatures_in_doubt() -> None:
    plan = bundled_plan()
    old = plan.bench.instruments["analog-1"].model_copy(update={"calibrated_until": "2020-01-01"})
    bench = plan.bench.model_copy(update={"instruments": {**plan.bench.instruments, "analog-1": old}})
    steps = by_name(on("2026-01-01", Plan(plan.procedure, plan.profile, bench)))
    for name in ("ambient", "time-40-to-90"):
        assert steps[name].verdict is Verdict.NOT_EVALUATED, name
    assert steps["coil-resistance"].verdict is Verdict.PASS


def test_a_reading_by_a_persons_own_instrument_is_judged_by_its_own_papers() -> None:
    steps = by_name(on("2027-07-01", bundled_plan(), by_hand=("coil-resistance",), by="A. Bench"))
    assert steps["coil-resistance"].verdict is Verdict.PASS
    assert steps["heater-cold-resistance"].verdict is Verdict.NOT_EVALUATED
