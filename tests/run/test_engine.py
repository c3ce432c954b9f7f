"""The engine's rules, on small procedures of the tests' own."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from rig.errors import InputError, RecordError
from rig.events import AllOff, Event, OutputConfirmed, OutputIntended, RunStarted, StepEnded
from rig.limits import Verdict
from rig.plan.plan import Plan
from rig.run.session import RunRequest, run_procedure
from tests.conftest import by_name, run

HEAD = """
procedure: trial
title: A trial
revision: "1"
stages:
"""

DEAD = (
    HEAD
    + """
  - stage: only
    title: Only
    drive: dead
    steps:
"""
)

AMBIENT = """
      - step: {name}
        measure: temperature
        at: ambient-temperature
        limit: {{at-least: {least} Cel, source: a test}}
        after-bad: {after}
"""

Make = Callable[[str], Plan]


def ambient(name: str, good: bool, after: str = "carry on") -> str:
    return AMBIENT.format(name=name, least=0 if good else 90, after=after)


def verdicts(plan: Plan, **request: object) -> dict[str, str]:
    return {name: str(step.verdict) for name, step in by_name(run(plan, **request)).items()}


def test_carry_on_leave_out_and_end(written: Make) -> None:
    second = "\n  - stage: later\n    title: Later\n    drive: dead\n    steps:\n" + ambient("in-later", True)
    made_safe = "    make-safe:\n" + ambient("made-safe", True)
    rest = ambient("next", True) + made_safe + second
    carried = verdicts(written(DEAD + ambient("bad", False) + rest))
    assert carried == {"bad": "fail", "next": "pass", "made-safe": "pass", "in-later": "pass"}
    left = verdicts(
        written(DEAD + ambient("bad", False, "leave out stage") + ambient("next", True) + made_safe + second)
    )
    assert left == {"bad": "fail", "next": "not run", "made-safe": "pass", "in-later": "pass"}
    ended = verdicts(written(DEAD + ambient("bad", False, "end") + rest))
    assert ended == {"bad": "fail", "next": "not run", "made-safe": "pass", "in-later": "not run"}


def test_conditions_on_earlier_verdicts(written: Make) -> None:
    text = DEAD + ambient("bad", False) + ambient("good", True)
    text += ambient("needs-bad", True) + "        needs: [bad]\n"
    text += ambient("needs-good", True) + "        needs: [good]\n"
    text += ambient("after-bad-one", True) + "        after: [bad]\n"
    text += ambient("when-it-failed", True) + "        when: {step: bad, was: [fail]}\n"
    text += ambient("when-it-passed", True) + "        when: {step: bad, was: [pass]}\n"
    got = verdicts(written(text))
    assert got["needs-bad"] == got["when-it-passed"] == "not run"
    assert got["needs-good"] == got["after-bad-one"] == got["when-it-failed"] == "pass"


def test_repeat_keeps_every_attempt(written: Make) -> None:
    inner = ambient("again", False).replace("\n", "\n      ")
    plan = written(
        DEAD + "\n      - step: three-times\n        repeat:\n          times: 3\n          steps:\n" + inner
    )
    record = run(plan)
    assert [(s.name, s.attempt, s.verdict) for s in record.steps] == [("again", n, Verdict.FAIL) for n in (1, 2, 3)]
    assert record.ended.verdict is Verdict.FAIL


def test_a_repeat_asks_its_steps_conditions_and_ends_as_they_say(written: Make) -> None:
    def inside(text: str) -> str:
        return text.replace("\n", "\n      ")

    repeat = "\n      - step: twice\n        repeat:\n          times: 2\n          steps:\n"
    needs = inside(ambient("good", True) + ambient("needs-bad", True) + "        needs: [bad]")
    got = run(written(DEAD + ambient("bad", False) + repeat + needs + ambient("next", True)))
    assert [(s.name, s.verdict) for s in got.steps] == [
        ("bad", Verdict.FAIL), *[("good", Verdict.PASS), ("needs-bad", Verdict.NOT_RUN)] * 2, ("next", Verdict.PASS)
    ]  # fmt: skip
    left = inside(ambient("bad", False, "leave out stage") + ambient("good", True))
    got = run(written(DEAD + repeat + left + ambient("next", True)))
    assert [(s.name, s.verdict) for s in got.steps] == [
        ("bad", Verdict.FAIL), ("good", Verdict.NOT_RUN), ("next", Verdict.NOT_RUN)
    ]  # fmt: skip


def test_an_output_is_on_for_its_step_only_and_off_by_feedback(written: Make) -> None:
    text = (
        HEAD
        + """
  - stage: fed
    title: Fed
    drive: bench feeds
    make-ready:
      - step: ready
        switch: {turn-on: [fill-to-bench, bus-dc24]}
    steps:
      - step: current
        measure: DC amps
        at: fill-current
        energize: [fill-feed]
        settle: 1 s
        range: 1 A
        limit: {at-least: 0.2 A, source: a test}
"""
    )
    events: list[Event] = []
    record = run(written(text), events)
    assert record.ended.verdict is Verdict.PASS
    switched = [(e.output, e.on) for e in events if isinstance(e, OutputConfirmed)]
    assert switched.index(("fill-feed", True)) < switched.index(("fill-feed", False))
    ended = next(n for n, e in enumerate(events) if isinstance(e, StepEnded) and e.result.name == "current")
    assert ("fill-feed", False) in [(e.output, e.on) for e in events[:ended] if isinstance(e, OutputConfirmed)]
    for output in ("fill-feed", "bus-dc24", "fill-to-bench", "volts-bus"):
        last = [on for name, on in switched if name == output][-1]
        assert last is False, output
    feedback = {e.output: e.feedback for e in events if isinstance(e, OutputConfirmed)}
    assert feedback["fill-feed"] == "fill-feed-aux"


def test_intent_is_kept_before_anything_goes_on(written: Make) -> None:
    events: list[Event] = []
    run(written(DEAD + ambient("one", True)), events)
    assert isinstance(events[0], RunStarted)
    assert isinstance([e for e in events if isinstance(e, AllOff)][-1], AllOff)
    on = [n for n, e in enumerate(events) if isinstance(e, OutputConfirmed) and e.on]
    for n in on:
        confirmed = events[n]
        assert isinstance(confirmed, OutputConfirmed)
        assert any(isinstance(e, OutputIntended) and e.output == confirmed.output for e in events[:n])


class FullDisk:
    """A journal whose disk is full after so many events."""

    def __init__(self, room: int) -> None:
        self.room = room
        self.events: list[Event] = []

    def record(self, event: Event) -> None:
        if len(self.events) >= self.room:
            raise RecordError("the disk is full", "Make room.")
        self.events.append(event)


@pytest.mark.parametrize("room", (1, 5, 60, 130, 200))
def test_a_journal_that_fails_ends_the_run_with_everything_off(room: int, written: Make) -> None:
    from tests.conftest import bundled_plan

    seen: list[Event] = []
    stations: list = []
    journal = FullDisk(room)
    with pytest.raises(RecordError):
        run_procedure(
            RunRequest(run="test"),
            bundled_plan(),
            [seen.append],
            lambda _: journal,
            lambda bench: stations.append(bench),
        )
    assert len(journal.events) == room
    offs = [e for e in seen if isinstance(e, AllOff)]
    assert offs
    assert offs[-1].confirmed
    plant = stations[0].station.plant
    assert not any(plant.coils(1))
    assert not any(plant.coils(4))
    assert plant.abuses == []


def test_a_real_bench_with_nobody_to_ask_is_refused_before_power(written: Make) -> None:
    """Prepared answers that do not do are told all at once, with nothing opened."""
    question = """
      - step: {name}
        ask: Well?
        verb: look
        thing: unit
        answer: yes or no
        expect: yes
"""
    plan = written(DEAD + question.format(name="first") + question.format(name="second"))
    with pytest.raises(InputError) as refused:
        run(plan, answers={"first": "perhaps", "second": "maybe"})
    text = "\n".join(refused.value.lines())
    assert "first: expected 'yes' or 'no', found 'perhaps'" in text
    assert "second" in text


def test_prepared_answers_are_used_and_named(written: Make) -> None:
    question = """
      - step: plate
        ask: Does it agree?
        verb: look
        thing: rating-plate
        answer: yes or no
        expect: yes
"""
    plan = written(DEAD + question)
    record = run(plan, answers={"plate": "no"})
    step = by_name(record)["plate"]
    assert step.verdict is Verdict.FAIL
    assert step.reason == "answered no, expected yes"
    assert record.started.answered_by == "prepared answers, simulated person"


def test_what_was_so_before_is_not_timed_and_says_whose_fault_that_may_be(written: Make) -> None:
    """A door that is shut already, or a contact whose wire says so."""
    text = (
        DEAD
        + """
      - step: shut
        ask: Shut the door. Done?
        verb: confirm
        thing: door-shut
        answer: done
      - step: shutting
        time:
          from: {input: unit-door, is: shut}
          until: {input: level-probe, is: wet}
          start-within: 5 s
          give-up: 5 s
        every: 100 ms
        no-limit: a test
"""
    )
    step = by_name(run(written(text)))["shutting"]
    assert step.verdict is Verdict.NO_READING
    assert (step.reason or "").startswith("unit-door: 'unit-door shut' was so before the timing began")
    assert "check its contact" in (step.reason or "")
