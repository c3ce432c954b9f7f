"""The main job end to end over the wire: healthy units pass, and each fault shows where physics says."""

from __future__ import annotations

import pytest

from rig.events import OutputIntended, Prompted, StepEnded, run_dict
from rig.limits import Verdict
from tests.conftest import bundled_plan, by_name, inspection, run

FILL_FAULTS = ("filter-choked", "coil-open", "plunger-stuck", "probe-coated", "lead-high-ohm")

# What fails first-hand with each fault at full severity; computed from these or left out because of them is the rest.
FAILS = {
    "filter-choked": {"fill-time", "water-drained", "chamber-look", "mass-rate-from-bench", "flow-from-bench"},
    "coil-open": {
        "coil-resistance", "coil-resistance-at-20", "fill-current-from-board", "fill-time", "water-drained",
        "plunger-dip", "fill-current-from-bench",
    },
    "plunger-stuck": {"fill-time", "water-drained", "plunger-dip", "mass-rate-from-bench", "flow-from-bench"},
    "probe-coated": {"fill-time", "water-drained"},
    "lead-high-ohm": {
        "fill-lead-resistance", "fill-supply-loaded", "fill-current-from-board", "fill-time", "water-drained",
    },
    "heater-open": {"heater-cold-resistance", "heater-current"},
}  # fmt: skip


@pytest.mark.parametrize("seed", range(8))
def test_a_healthy_unit_passes_every_step(seed: int) -> None:
    record = inspection(seed)
    assert {s.name: s.verdict for s in record.steps if s.verdict is not Verdict.PASS} == {}
    assert record.ended.verdict is Verdict.PASS
    assert record.ended.all_off
    assert len(record.steps) == bundled_plan().step_count()


@pytest.mark.parametrize("seed", (3, 4))
@pytest.mark.parametrize("fault", FAILS)
def test_a_fault_fails_the_steps_that_physics_says(fault: str, seed: int) -> None:
    record = inspection(seed, (fault, 1.0))
    failed = {s.name for s in record.steps if s.verdict in (Verdict.FAIL, Verdict.CONDITIONAL_FAIL)}
    assert failed == FAILS[fault]
    assert record.ended.verdict is Verdict.FAIL
    assert all(s.reason for s in record.steps if s.verdict is Verdict.NOT_RUN)
    assert record.ended.all_off


def test_three_dry_valves_differ_in_their_readings() -> None:
    """No water, three causes: what tells them apart is electrical."""
    coil, plunger, lead = (by_name(inspection(5, (f, 1.0))) for f in ("coil-open", "plunger-stuck", "lead-high-ohm"))

    def value(steps: dict, name: str) -> float:
        reading = steps[name].reading
        assert reading is not None
        return float(reading.value)

    assert coil["coil-resistance"].reading is not None
    assert coil["coil-resistance"].reading.bound == "more than"
    assert value(coil, "fill-current-from-bench") == pytest.approx(0, abs=1e-3)
    assert value(plunger, "fill-current-from-bench") == pytest.approx(0.417, rel=0.15)
    assert value(lead, "fill-current-from-bench") == pytest.approx(0.417, rel=0.15)
    assert value(lead, "fill-current-from-board") < 0.7 * value(plunger, "fill-current-from-board")
    assert value(plunger, "plunger-dip") < 0.01 < 0.06 < value(lead, "plunger-dip")
    assert value(lead, "fill-lead-resistance") > 20 > 1 > value(plunger, "fill-lead-resistance")


def test_sensing_and_delivery_faults_differ_by_one_weighing() -> None:
    too_much = by_name(inspection(3, ("probe-coated", 1.0)))["water-drained"].reading
    too_little = by_name(inspection(3, ("filter-choked", 1.0)))["water-drained"].reading
    assert too_much is not None
    assert too_little is not None
    assert too_much.value > 600 > 350 > too_little.value


def test_an_unknown_seed_and_a_mild_fault_still_judge_honestly() -> None:
    """A filter half closed slows the fill without stopping it: a longer time, the same volume."""
    healthy, mild = by_name(inspection(11)), by_name(inspection(11, ("filter-choked", 0.3)))
    for steps in (healthy, mild):
        assert steps["fill-time"].reading is not None
    assert mild["fill-time"].reading.value > healthy["fill-time"].reading.value  # type: ignore[union-attr]


def test_one_seed_gives_the_same_numbers_every_time() -> None:
    plan = bundled_plan()

    def plain() -> dict:
        record = run_dict(run(plan, seed=21))
        return {k: v for k, v in record.items() if k != "wall_seconds"}

    first = plain()
    assert plain() == first == plain()
    other = run_dict(run(plan, seed=22))
    assert other["steps"] != first["steps"]


def test_as_found_comes_first_and_intent_before_power() -> None:
    """Site questions before power; the first fill on record before the bench feeds any water or the heater is on."""
    events: list = []
    run(bundled_plan(), events, seed=1)
    fill = next(n for n, e in enumerate(events) if isinstance(e, StepEnded) and e.result.name == "fill-time")
    first_on = next(
        n for n, e in enumerate(events) if isinstance(e, OutputIntended) and e.output in ("mains", "fill-feed")
    )
    site = [
        n for n, e in enumerate(events) if isinstance(e, Prompted) and e.step in ("reservoir-as-found", "untouched")
    ]
    assert site
    assert max(site) < first_on < fill
    before = {e.output for e in events[:fill] if isinstance(e, OutputIntended)}
    assert before.isdisjoint({"fill-feed", "heater-enable"})


def test_an_edge_carries_its_bracket() -> None:
    step = by_name(inspection(1))["fill-time"]
    assert step.bracket is not None
    assert step.reading is not None
    before, after = step.bracket
    assert step.started < before < after <= step.ended
    assert after - before < 0.25  # the stated poll period is 100 ms; an exchange costs some ms
    parts = dict(step.reading.parts)
    assert parts["end edge"] == pytest.approx((after - before) / 2 / 3**0.5)
    assert step.reading.u == pytest.approx(sum(p * p for p in parts.values()) ** 0.5)
