"""A formula that has no value in this run: no reading, with the reason; the run goes on."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from rig.limits import Verdict
from rig.plan.plan import Plan
from tests.conftest import by_name, run

PROCEDURE = """
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
      - step: worthless
        compute: FORMULA
        in: Ohm
        limit: {at-most: 0.4 Ohm, source: a test}
      - step: afterwards
        ask: Still there?
        verb: look
        thing: trolley-level
        answer: yes or no
        expect: yes
"""


@pytest.mark.parametrize(
    ("formula", "why"),
    [
        ("earth-bond * earth-bond / (earth-bond - 0.11 Ohm)", "division by zero"),
        ("earth-bond * 1e200 * 1e200", "not a finite number"),
        ("earth-bond * 1e300 * 1e8 * 1e2", "not a finite number"),
        ("earth-bond * sqrt((earth-bond - 5 Ohm) / 1 Ohm)", "no square root of a negative value"),
    ],
)
def test_no_reading_and_the_run_goes_on(formula: str, why: str, written: Callable[[str], Plan]) -> None:
    answers = {"earth-bond": "0.11", "afterwards": "yes"}
    steps = by_name(run(written(PROCEDURE.replace("FORMULA", formula)), answers=answers))
    assert steps["worthless"].verdict is Verdict.NO_READING
    assert steps["worthless"].reading is None
    assert why in (steps["worthless"].reason or "")
    assert steps["afterwards"].verdict is Verdict.PASS
