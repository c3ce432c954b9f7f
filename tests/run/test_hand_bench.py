"""A bench of hands: every reading typed, every switch thrown by a person; the same procedures, the same verdicts."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
import yaml

from rig.errors import InputError, Stopped
from rig.events import AllOff, Event, OutputConfirmed, Prompted
from rig.limits import Verdict
from rig.plan.load import bundled, load, load_named
from rig.plan.plan import Plan, make_plan
from rig.run.journal import ListJournal
from rig.run.session import RunRequest, run_procedure
from tests.conftest import bundled_plan, by_name, run
from tests.run.test_incoming_inspection import FAILS

BY_EAR = {"chamber-pressure-filling", "plunger-dip"}  # what no hand can record

SMALL = """
procedure: trial
title: A trial
revision: "1"
stages:
  - stage: dead
    title: Dead
    drive: dead
    steps:
      - step: earth-bond
        ask: What does the tester read?
        verb: measure
        thing: earth-bond
        answer: {number-in: Ohm}
        limit: {at-most: 0.2 Ohm, source: a test}
      - step: coil
        measure: resistance four-wire
        at: fill-coil
        limit: {at-least: 50 Ohm, source: a test}
  - stage: live
    title: Live
    drive: board drives
    steps:
      - step: power
        switch: {turn-on: [mains]}
      - step: idle
        measure: AC amps
        at: unit-current
        limit: {at-most: 100 mA, source: a test}
"""

ANSWERS = {
    "all-off": "done",
    "earth-bond": "0.08",
    "dead-fill-supply": "0.02 V with DMM 7",
    "switch-fill-to-bench": "done",
    "coil": "58.2 ± 0.3 with DMM 7",
    "switch-mains": "done",
    "idle": "31 mA ± 2 mA with clamp 1",
}


@pytest.fixture(autouse=True)
def _locks_of_its_own(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A bench that nobody confirms off stays latched: here, not for whoever uses this computer next."""
    monkeypatch.setenv("RIG_STATE", str(tmp_path))


@pytest.fixture
def plan(tmp_path: Path) -> Plan:
    path = tmp_path / "trial.yaml"
    path.write_text(SMALL, encoding="utf-8")
    return make_plan(load(path), load_named("unit-profile", "demo-18-dc"), load_named("bench", "hand-meter"))


def at_terminal(answers: dict[str, str]) -> Callable[[Prompted], str]:
    def terminal(prompt: Prompted) -> str:
        if prompt.step not in answers:
            raise Stopped("the terminal is gone", "", prompt.step)
        return answers[prompt.step]

    return terminal


def typed_run(plan: Plan, answers: dict[str, str], by: str = "B. Ench") -> tuple[list[Event], dict, Verdict]:
    journal = ListJournal()
    request = RunRequest(run="test", by=by, ask=at_terminal(answers), person="terminal")
    record = run_procedure(request, plan, [], lambda _: journal)
    return journal.events, by_name(record), record.ended.verdict


# the simulated person


@pytest.mark.parametrize("seed", range(4))
def test_a_healthy_unit_passes_whatever_a_hand_can_read(seed: int) -> None:
    record = run(bundled_plan(bench="simulated-hand-meter"), seed=seed)
    assert {s.name for s in record.steps if s.verdict is not Verdict.PASS} == BY_EAR
    assert all(s.reason == "needs a recording instrument" for s in record.steps if s.name in BY_EAR)
    assert record.ended.verdict is Verdict.PASS
    assert record.ended.all_off
    by_hand = [s.reading for s in record.steps if s.reading is not None and s.reading.how == "by hand"]
    assert len(by_hand) > 20
    assert all(r.by == "simulated person" for r in by_hand)


@pytest.mark.parametrize("fault", FAILS)
def test_a_fault_fails_the_same_steps_as_with_instruments(fault: str) -> None:
    record = run(bundled_plan(bench="simulated-hand-meter"), seed=3, faults=((fault, 1.0),))
    failed = {s.name for s in record.steps if s.verdict in (Verdict.FAIL, Verdict.CONDITIONAL_FAIL)}
    assert failed == FAILS[fault] - BY_EAR
    assert record.ended.all_off


# a person at a terminal


def test_a_person_types_and_switches_and_the_rig_switches_nothing(plan: Plan) -> None:
    events, steps, verdict = typed_run(plan, ANSWERS)
    assert verdict is Verdict.PASS
    assert {name: s.verdict for name, s in steps.items()} == dict.fromkeys(steps, Verdict.PASS)
    coil = steps["coil"].reading
    assert (coil.value, coil.instrument, coil.by, coil.how) == (58.2, "DMM 7", "B. Ench", "by hand")
    asked = [e.step for e in events if isinstance(e, Prompted)]
    assert asked == [
        "all-off", "earth-bond", "dead-fill-supply", "dead-fill-supply", "switch-fill-to-bench", "coil",
        "switch-fill-to-bench", "switch-mains", "idle", "switch-mains",
    ]  # fmt: skip
    confirmed = [(e.output, e.on) for e in events if isinstance(e, OutputConfirmed)]
    assert confirmed == [("fill-to-bench", True), ("fill-to-bench", False), ("mains", True), ("mains", False)]
    assert [e.confirmed for e in events if isinstance(e, AllOff)] == [True]


def test_a_caution_stands_before_what_energizes_and_none_before_switching_off(plan: Plan) -> None:
    events, _, _ = typed_run(plan, ANSWERS)
    on, off = [e for e in events if isinstance(e, Prompted) and e.step == "switch-mains"]
    assert "emergency stop" in on.caution
    assert "Switch on: mains" in on.question
    assert off.caution == ""
    idle = next(e for e in events if isinstance(e, Prompted) and e.step == "idle")
    assert "On meanwhile: mains" in idle.caution


def test_ohms_are_not_asked_for_where_the_hand_finds_voltage(plan: Plan) -> None:
    events, steps, verdict = typed_run(plan, {**ANSWERS, "dead-fill-supply": "23.9 V with DMM 7"})
    assert verdict is Verdict.STOPPED
    assert "is not dead" in steps["coil"].reason
    assert "coil" not in [e.step for e in events if isinstance(e, Prompted)]


@pytest.mark.parametrize("missing", ("switch-mains", "idle", "all-off"))
def test_a_terminal_that_goes_away_leaves_nothing_called_off_that_nobody_saw_off(plan: Plan, missing: str) -> None:
    """Gone at the switch or at a reading: what may be on is not confirmed off, because nobody is there to say so."""
    answers = {k: v for k, v in ANSWERS.items() if k != missing}
    gone: list[str] = []

    def terminal(prompt: Prompted) -> str:
        if gone or prompt.step not in answers:
            gone.append(prompt.step)
            raise Stopped("the terminal is gone", "", prompt.step)
        return answers[prompt.step]

    journal = ListJournal()
    record = run_procedure(RunRequest(run="test", by="B", ask=terminal, person="terminal"), plan, [], lambda _: journal)
    assert record.ended.verdict in (Verdict.STOPPED, Verdict.NO_READING)
    last = [e for e in journal.events if isinstance(e, AllOff)][-1]
    assert not last.confirmed
    assert not record.ended.all_off
    assert "mains" in last.unconfirmed


def test_nobody_there_or_without_a_name_is_refused_before_anything(plan: Plan) -> None:
    with pytest.raises(InputError) as refused:
        run_procedure(RunRequest(run="test", by="B"), plan, [], lambda _: ListJournal())
    text = "\n".join(refused.value.lines())
    for name in ("all-off", "switch-mains", "dead-fill-supply", "coil", "idle"):
        assert f"{name}: no answer" in text
    with pytest.raises(InputError, match="name of who took it"):
        typed_run(plan, ANSWERS, by="")


def test_prepared_answers_serve_switches_and_readings_alike(plan: Plan) -> None:
    record = run_procedure(RunRequest(run="test", by="B", answers=ANSWERS), plan, [], lambda _: ListJournal())
    assert record.ended.verdict is Verdict.PASS


# the files


def test_the_two_hand_benches_differ_in_their_head_alone() -> None:
    hand, simulated = (
        yaml.safe_load(bundled("bench")[name].read_text(encoding="utf-8"))
        for name in ("hand-meter", "simulated-hand-meter")
    )
    assert simulated.pop("station") == "demo"
    assert simulated["links"].pop("person") == {"protocol": "person", "address": "station"}
    for part in ("bench", "title", "simulated", "links"):
        hand.pop(part), simulated.pop(part)
    for spec in simulated["instruments"].values():
        assert spec["serial"].startswith("SIM-")
        spec["serial"] = spec["serial"].removeprefix("SIM-")
    for spec in [*hand["hand-instruments"].values(), *simulated["hand-instruments"].values()]:
        spec.pop("serial")  # other pieces of the same kinds
    assert hand == simulated
