"""Steps of runs become outcomes."""

from __future__ import annotations

from dataclasses import replace

import pytest

from rig.diagnosis.complaint import likeliest_complaint
from rig.diagnosis.from_runs import from_run, outcome_of
from rig.diagnosis.model import build
from rig.events import Reading, StepResult
from rig.limits import Limit, Verdict
from rig.plan.causes import FromStep
from rig.quantities import Quantity
from tests.conftest import inspection
from tests.small_tables import bundled_table

TABLE = bundled_table("no-water-level")
SOURCE = FromStep(procedure="p", step="s")


def step(value: float | None, u: float = 0.1, bound: str | None = None, verdict: Verdict = Verdict.PASS) -> StepResult:
    reading = None if value is None else Reading(value, "V", u, f"{value} V", bound)
    return StepResult("s", verdict, None, reading, Limit(20.0, 28.0, "V", "a test"), None, None, 0.0, 1.0)


@pytest.mark.parametrize(
    ("result", "source", "expected"),
    [
        (step(24.0), {}, {"normal": 1.0}),
        (step(10.0), {}, {"low": 1.0}),
        (step(30.0), {}, {"high": 1.0}),
        (step(20.0), {}, {"low": 0.5, "normal": 0.5}),
        (step(1.0), {"none-below": "2 V"}, {"none": 1.0}),
        (step(1.0), {"none-below": "2 A"}, {}),
        (step(40.0, bound="more than"), {}, {"none": 1.0}),
        (step(40.0, bound="more than"), {"beyond": "high"}, {"high": 1.0}),
        (step(10.0), {"read-as": {"low": "none"}}, {"none": 1.0}),
        (step(None, verdict=Verdict.FAIL), {"without-reading": "none"}, {"none": 1.0}),
        (step(None, verdict=Verdict.FAIL), {}, {}),
        (step(None, verdict=Verdict.NO_READING), {"without-reading": "none"}, {}),
        (step(24.0, verdict=Verdict.STOPPED), {}, {}),
        (step(24.0, verdict=Verdict.NOT_RUN), {}, {}),
    ],
)
def test_a_reading_against_its_limit(result: StepResult, source: dict[str, object], expected: dict[str, float]) -> None:
    asked = FromStep.model_validate({"procedure": "p", "step": "s", **source})
    assert outcome_of(result, asked) == pytest.approx(expected)


@pytest.mark.parametrize(
    ("reason", "expected"),
    [
        ("heater-enable: interlock heater-water: level-relay is dry, must be wet", {"low": 1.0}),
        ("heater-enable: interlock heater-watch: chamber-temperature rose by 1 K in 60 s", {}),
        ("Ctrl-C was pressed", {}),
        (None, {}),
    ],
)
def test_what_an_interlock_says_of_the_unit(reason: str | None, expected: dict[str, float]) -> None:
    asked = FromStep.model_validate({"procedure": "p", "step": "s", "stopped-by": {"heater-water": "low"}})
    stopped = replace(step(None, verdict=Verdict.STOPPED), reason=reason)
    assert outcome_of(stopped, asked) == expected
    assert outcome_of(stopped, SOURCE) == {}


def test_an_answer_may_mean_one_outcome_or_leave_several_open() -> None:
    asked = FromStep(procedure="p", step="s").model_copy(
        update={"answers": {"yes": ("normal",), "no": ("low", "high")}}
    )
    assert outcome_of(replace(step(None), answer="no"), asked) == {"low": 1.0, "high": 1.0}
    assert outcome_of(replace(step(None), answer="yes"), asked) == {"normal": 1.0}
    assert outcome_of(replace(step(None), answer="perhaps"), asked) == {}


def test_quantities_of_the_same_kind_are_compared_in_one_unit() -> None:
    asked = SOURCE.model_copy(update={"none_below": Quantity(2000.0, "mV")})
    assert outcome_of(step(1.0), asked) == {"none": 1.0}


def test_one_step_may_tell_several_observations() -> None:
    found = {e.observation: e.outcome for e in from_run(TABLE.observations, inspection(3, ("board-output-dead", 1.0)))}
    assert found["fill-time"] == "none"
    assert found["drive-comes"] == "none"
    other = {e.observation: e.outcome for e in from_run(TABLE.observations, inspection(3, ("rectifier-open", 1.0)))}
    assert other["fill-time"] == "none"
    assert other["drive-comes"] == "normal"


def test_every_step_that_says_something_is_named_with_its_run() -> None:
    found = from_run(TABLE.observations, inspection(3, ("rectifier-open", 1.0)))
    assert all(e.source.startswith("run test, ") for e in found)
    (supply,) = [e for e in found if e.observation == "fill-supply-loaded"]
    assert supply.outcome == "low"
    assert " V" in supply.words


@pytest.mark.parametrize(
    ("fault", "complaint"),
    [
        (("rectifier-open", 1.0), "no-water-level"),
        (("not-level", 1.0), "no-water-level"),
        (("board-level-input-dead", 1.0), "no-water-level"),
        (("one-element-open", 1.0), "slow-heat"),
        (("heater-open", 1.0), "slow-heat"),
    ],
)
def test_the_complaint_is_the_one_that_explains_the_run(fault: tuple[str, float], complaint: str) -> None:
    models = [build(bundled_table(name)) for name in ("no-water-level", "slow-heat", "wet-or-leaking")]
    found, why = likeliest_complaint(models, [inspection(4, fault)])
    assert found.table.complaint == complaint
    assert "explain" in why


def test_a_run_with_nothing_out_of_order_shows_no_complaint() -> None:
    models = [build(bundled_table(name)) for name in ("no-water-level", "slow-heat", "wet-or-leaking")]
    _, why = likeliest_complaint(models, [inspection(7)])
    assert "nothing in the run is out of order" in why
