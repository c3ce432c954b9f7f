"""Which prompts a run can make: what must be answered, what may be, and what belongs to other units."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import pytest

from rig.errors import InputError
from rig.events import Answered, Event, Prompted
from rig.plan.load import load_named
from rig.plan.plan import Plan
from rig.plan.procedure import Procedure
from rig.run.prompts import names_of_prompts, prompts_after_pause, prompts_of
from rig.run.session import RunRequest, refuse_without_people
from tests.conftest import bundled_plan, by_name, run

THRICE = """
procedure: trial
title: A trial
revision: "1"
stages:
  - stage: before
    title: Before
    drive: dead
    steps:
      - step: three-looks
        repeat:
          times: 3
          steps:
            - step: look-again
              ask: Is the lid shut?
              verb: look
              thing: door-shut
              answer: yes or no
              expect: yes
      - step: ac-only
        for-units: {fill.valve: [AC coil]}
        ask: Is the coil an AC one?
        verb: look
        thing: door-shut
        answer: yes or no
        expect: yes
"""


def fitting(prompt: Prompted) -> str:
    """An answer that does."""
    words = {"done": "done", "yes-no": "yes", "number": "1"}
    return prompt.options[0] if prompt.kind == "choice" else words[prompt.kind]


def without_a_person(plan: Plan) -> Plan:
    """The same bench, and nobody at it."""
    links = {name: link for name, link in plan.bench.links.items() if link.protocol != "person"}
    return replace(plan, bench=plan.bench.model_copy(update={"links": links}))


def test_what_is_asked_after_a_pause_need_not_be_prepared_and_may_be() -> None:
    plan = without_a_person(bundled_plan())
    after = {prompt.step for prompt in prompts_after_pause(plan)}
    assert {"drained-after-pause", "cooled-after-pause"} <= after
    answers = {prompt.step: fitting(prompt) for prompt in prompts_of(plan)}
    assert not after & set(answers)
    refuse_without_people(RunRequest("test", answers=answers), plan)
    refuse_without_people(RunRequest("test", answers=answers | dict.fromkeys(after, "done")), plan)
    with pytest.raises(InputError, match="do not do") as caught:
        refuse_without_people(RunRequest("test", answers=answers | {"drained-after-pause": "maybe"}), plan)
    assert ["drained-after-pause" in fault.message for fault in caught.value.faults] == [True]
    missing = dict(answers)
    del missing["untouched"]
    with pytest.raises(InputError) as caught:
        refuse_without_people(RunRequest("test", answers=missing), plan)
    assert ["untouched: no answer" in fault.message for fault in caught.value.faults] == [True]


@pytest.mark.parametrize("unit", ["demo-18-ac", "demo-18-dc", "demo-24-dc"])
def test_no_unit_has_a_prompt_that_the_procedure_does_not_know(unit: str) -> None:
    written = load_named("procedure", "incoming-inspection").model
    assert isinstance(written, Procedure)
    asked = {prompt.step for prompt in prompts_of(bundled_plan(unit=unit))}
    assert asked
    assert asked <= names_of_prompts(written)


def test_one_answer_serves_every_repeat_and_other_units_are_not_asked(written: Callable[[str], Plan]) -> None:
    plan = written(THRICE)
    assert [prompt.step for prompt in prompts_of(plan)] == ["look-again"]
    events: list[Event] = []
    record = run(plan, events, answers={"look-again": "no"})
    answers = [(e.answer, e.answered_by) for e in events if isinstance(e, Answered)]
    assert answers == [("no", "prepared answers")] * 3
    assert [s.attempt for s in record.steps if s.name == "look-again"] == [1, 2, 3]
    assert "ac-only" not in by_name(record)
