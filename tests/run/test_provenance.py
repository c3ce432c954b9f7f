"""Every reading says which instrument it comes from."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from rig.plan.plan import Plan
from rig.run.people import meaning
from rig.run.prompts import prompts_of
from tests.conftest import by_name, inspection, run

ASKED = """
procedure: trial
title: A trial
revision: "1"
stages:
  - stage: before
    title: Before
    drive: dead
    steps:
      - step: earth-bond
        ask: Earth bond?
        verb: measure
        thing: earth-bond
        answer: {number-in: Ohm}
        limit: {at-most: 0.2 Ohm, source: a test}
      - step: twice-that
        compute: earth-bond * 2
        in: Ohm
        limit: {at-most: 0.4 Ohm, source: a test}
"""


def test_no_reading_is_without_an_instrument() -> None:
    readings = {s.name: s.reading for s in inspection(3).steps if s.reading is not None}
    assert not [name for name, reading in readings.items() if not reading.instrument]
    assert readings["coil-resistance"].instrument == "meter-1 (SIM-M1)"
    assert readings["ambient"].instrument == "analog-1 (SIM-A1)"
    assert readings["fill-time"].instrument == "inputs-1 (SIM-I1)"
    assert readings["coil-resistance-at-20"].instrument == "meter-1 (SIM-M1), analog-1 (SIM-A1)"


def test_an_open_circuit_keeps_what_the_meter_said() -> None:
    coil = by_name(inspection(3, ("coil-open", 1.0)))["coil-resistance"].reading
    assert coil is not None
    assert coil.bound == "more than"
    assert coil.raw[-1] == pytest.approx(9.9e37)


@pytest.mark.parametrize(("said", "with_what"), [("0.11 with PAT 3", "PAT 3"), ("110 mOhm", "not named")])
def test_a_number_that_a_person_gives_may_say_with_what(
    said: str, with_what: str, written: Callable[[str], Plan]
) -> None:
    steps = by_name(run(written(ASKED), answers={"earth-bond": said}))
    for name, factor in (("earth-bond", 1), ("twice-that", 2)):
        reading = steps[name].reading
        assert reading is not None
        assert reading.value == pytest.approx(0.11 * factor)
        assert reading.instrument == with_what


@pytest.mark.parametrize(("said", "with_what"), [("0.11", "safety-tester (SIM-T1)"), ("0.11 with PAT 3", "PAT 3")])
def test_a_question_may_say_with_what(said: str, with_what: str, written: Callable[[str], Plan]) -> None:
    asked = ASKED.replace(
        "        limit: {at-most: 0.2 Ohm", "        with: safety-tester\n        limit: {at-most: 0.2 Ohm"
    )
    reading = by_name(run(written(asked), answers={"earth-bond": said}))["earth-bond"].reading
    assert reading is not None and reading.instrument == with_what


@pytest.mark.parametrize(
    ("said", "verdict"),
    [("0.11", "not evaluated"), ("0.11 with SIM-T1", "not evaluated"), ("0.11 with SIM-T2", "pass")],
)
def test_a_tester_out_of_calibration_judges_nothing(said: str, verdict: str, written: Callable[[str], Plan]) -> None:
    asked = ASKED.replace(
        "        limit: {at-most: 0.2 Ohm", "        with: safety-tester\n        limit: {at-most: 0.2 Ohm"
    )
    plan = written(asked)
    late = plan.bench.hand_instruments["safety-tester"].model_copy(update={"calibrated_until": "2020-01-31"})
    bench = plan.bench.model_copy(update={"in_order": None, "hand_instruments": {"safety-tester": late}})
    steps = by_name(run(Plan(plan.procedure, plan.profile, bench), answers={"earth-bond": said}))
    assert steps["earth-bond"].verdict == verdict
    assert steps["earth-bond"].reading is not None, "kept all the same"
    assert ("2020-01-31" in (steps["earth-bond"].reason or "")) is (verdict != "pass")
    assert steps["twice-that"].verdict == verdict


def test_what_it_was_read_with_is_no_part_of_the_number(written: Callable[[str], Plan]) -> None:
    (prompt,) = prompts_of(written(ASKED))
    assert meaning(prompt, "0.11 Ohm with PAT 3") == pytest.approx(0.11)
    with pytest.raises(ValueError, match="expected a number"):
        meaning(prompt, "with PAT 3")
