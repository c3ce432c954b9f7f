from __future__ import annotations

from events_of_a_run import began, steps, without_reading

from rig.cli.progress import PlanFacts, Progress, facts_of
from rig.events import Event, Prompted, RunEnded, Sampled, StepStarted
from rig.limits import Verdict
from tests.conftest import bundled_plan, run

FACTS = PlanFacts({"a": 2.0, "b": 3.0, "beside": 0.0}, {"b": "fill-drive on, then level-probe wet"})


def after(*events: Event) -> Progress:
    progress = Progress(FACTS)
    for event in events:
        progress.take(event)
    return progress


def test_minutes_go_down_while_a_step_runs_but_not_below_what_is_left_after_it() -> None:
    progress = after(began(minutes=5.0), StepStarted(60.0, "a", "s", "settle", 2.0))
    assert progress.minutes_left(60.0) == 5.0
    assert progress.minutes_left(120.0) == 4.0
    assert progress.minutes_left(6000.0) == 3.0


def test_steps_that_are_not_run_are_paid_for_too() -> None:
    progress = after(began(minutes=5.0), *steps(without_reading("b", Verdict.NOT_RUN, "needs a")))
    assert (progress.done, progress.minutes_left(0.0)) == (1, 2.0)


def test_of_several_steps_the_first_is_shown() -> None:
    progress = after(
        began(),
        StepStarted(1.0, "b", "s", "time a change", 3.0),
        StepStarted(2.0, "beside", "s", "record", 0.0),
    )
    assert progress.step is not None
    assert progress.step.step == "b"
    assert progress.waits_for == "fill-drive on, then level-probe wet"


def test_a_question_is_what_is_waited_for_until_something_else_happens() -> None:
    begun = (began(), StepStarted(1.0, "a", "s", "ask", 2.0))
    prompt = Prompted(1.0, "a", "look", "t", "?", "", "yes-no", "")
    assert after(*begun, prompt).waits_for == "an answer"
    assert after(*begun, prompt, Sampled(2.0, "a", "q", 1.0, "V")).waits_for == "an answer"
    assert after(*begun, prompt, StepStarted(3.0, "b", "s", "x", 1.0)).waits_for == "ask"


def test_the_latest_value_goes_with_its_step() -> None:
    sample = Sampled(2.0, "a", "q", 1.0, "V")
    assert after(began(), StepStarted(1.0, "a", "s", "x", 1.0), sample).sampled == sample
    assert after(began(), sample, *steps(without_reading("a", Verdict.PASS, None))).sampled is None


def test_a_whole_inspection_counts_to_its_end() -> None:
    plan = bundled_plan()
    events: list[Event] = []
    run(plan, events, seed=5)
    progress = Progress(facts_of(plan))
    left = []
    for event in events:
        progress.take(event)
        if not isinstance(event, RunEnded):
            left.append(progress.minutes_left(event.at))
    assert progress.done == progress.total == plan.step_count()
    assert left[0] == plan.minutes()
    assert left[-1] < 1e-9
    assert progress.step is None


def test_what_a_timing_waits_for_comes_from_the_plan() -> None:
    facts = facts_of(bundled_plan())
    assert facts.waits_for["fill-time"] == "fill-drive on, then level-probe wet"
    assert facts.waits_for["time-40-to-90"] == "chamber-temperature up to 40 Cel, then chamber-temperature up to 90 Cel"
    assert facts.minutes["fill-supply-loaded"] == 0.0


def test_a_stage_that_begins_anew_is_more_work_than_was_planned_and_never_more_than_all_of_it() -> None:
    once = steps(without_reading("a", Verdict.NOT_RUN, "paused"), without_reading("b", Verdict.NOT_RUN, "paused"))
    progress = after(began(), *once)
    planned = progress.total
    while progress.done < planned:
        progress.take(once[-1])
    assert progress.total == planned
    progress.take(StepStarted(60.0, "a", "s", "settle", 2.0))
    assert (progress.done + 1, progress.total) == (planned + 1, planned + 1)
    progress.take(once[0])
    progress.take(once[-1])
    assert (progress.done, progress.total) == (planned + 2, planned + 2)
