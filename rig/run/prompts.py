"""Which prompts a run can make, by the name under which an answer is prepared."""

from __future__ import annotations

from collections.abc import Collection, Iterable
from typing import Any

from rig.events import Prompted
from rig.plan.edges import StartByPerson
from rig.plan.plan import Plan, each_step
from rig.plan.procedure import Ask, Procedure, Time
from rig.run.hand_prompts import prompts_by_hand, steps_by_hand
from rig.run.people import prompt_of


def prompts_of(plan: Plan, by_hand: Collection[str] = ()) -> Iterable[Prompted]:
    """Every prompt that the plan makes unless it ends early; ``by_hand`` are the steps whose reading a person takes."""
    yield from prompts_by_hand(plan, by_hand)
    by_hand = steps_by_hand(plan, by_hand)
    for stage in plan.procedure.stages:
        for step in each_step(stage.all_steps()):
            asked = _asked(step)
            if asked is not None and (isinstance(step, Ask) or step.step not in by_hand):
                yield prompt_of(step.step, asked, "", 0.0)


def prompts_after_pause(plan: Plan) -> Iterable[Prompted]:
    """What is asked only when a run goes on after a pause: an answer may be prepared, and need not be."""
    for stage in plan.procedure.stages:
        for step in stage.after_pause:
            yield prompt_of(step.step, step, "", 0.0)


def names_of_prompts(procedure: Procedure) -> set[str]:
    """The names of all prompts of a procedure, whichever unit they are for."""
    steps = (step for stage in procedure.stages for step in (*each_step(stage.all_steps()), *stage.after_pause))
    return {step.step for step in steps if _asked(step) is not None}


def _asked(step: Any) -> Ask | StartByPerson | None:
    """What a step asks of a person."""
    if isinstance(step, Ask):
        return step
    return step.start if isinstance(step, Time) and isinstance(step.start, StartByPerson) else None
