"""Signals end a run and Ctrl-Z pauses it: outputs go off first, the record is closed, nothing measured is lost."""

from __future__ import annotations

import os
import signal
from collections.abc import Callable
from typing import Any

import pytest

from rig.bench.opening import OpenBench
from rig.events import AllOff, Event, OutputConfirmed, Prompted, RunEnded, RunRecord, Sampled, StepEnded, StepStarted
from rig.limits import Verdict
from rig.run.journal import ListJournal
from rig.run.session import RunRequest, run_procedure
from tests.conftest import bundled_plan, by_name


def send(number: int, when: Callable[[Event], bool]) -> tuple[RunRecord, list[Event], Any]:
    """Run the inspection, and send this process a signal at the first event that fits."""
    journal = ListJournal()
    benches: list[OpenBench] = []
    sent: list[int] = []

    def watch(event: Event) -> None:
        if not sent and when(event):
            sent.append(number)
            os.kill(os.getpid(), number)

    record = run_procedure(RunRequest(run="test", seed=6), bundled_plan(), [watch], lambda _: journal, benches.append)
    assert sent, "the moment never came"
    return record, journal.events, benches[0].station


def in_step(name: str) -> Callable[[Event], bool]:
    return lambda e: isinstance(e, StepStarted) and e.step == name


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM, signal.SIGHUP, signal.SIGQUIT])
@pytest.mark.parametrize("step", ["look-over", "heater-cold-resistance", "fill-time", "plunger-dip", "time-40-to-90"])
def test_a_signal_ends_the_run_with_everything_off(number: int, step: str) -> None:
    record, events, station = send(number, in_step(step))
    assert record.ended.signal == number
    assert record.ended.verdict is Verdict.STOPPED
    assert record.ended.all_off
    assert signal.Signals(number).name in (record.ended.reason or "")
    assert not any(station.plant.coils(1))
    assert not any(station.plant.coils(4))
    steps = by_name(record)
    assert steps[step].verdict is Verdict.STOPPED
    assert set(steps) == {s.name for s in record.steps}
    assert len(record.steps) == bundled_plan().step_count()
    off = next(n for n, e in enumerate(events) if isinstance(e, AllOff) and n > 0)
    told = next(n for n, e in enumerate(events) if isinstance(e, StepEnded) and e.result.name == step)
    assert off < told, "outputs first, then the record"
    assert isinstance(events[-1], RunEnded)


def test_a_signal_before_anything_is_on() -> None:
    record, _, _ = send(signal.SIGTERM, lambda e: isinstance(e, StepStarted))
    assert record.ended.signal == signal.SIGTERM
    assert record.ended.all_off


@pytest.mark.parametrize("step", ["coil-resistance", "fill-time", "fill-current-from-bench", "heater-current"])
def test_a_pause_turns_everything_off_and_its_stage_begins_anew(step: str) -> None:
    record, events, station = send(signal.SIGTSTP, in_step(step))
    attempts = [s for s in record.steps if s.name == step]
    assert [s.verdict for s in attempts] == [Verdict.NOT_RUN, Verdict.PASS]
    assert "paused" in (attempts[0].reason or "")
    assert record.ended.verdict is Verdict.PASS
    paused = next(n for n, e in enumerate(events) if isinstance(e, Prompted) and e.step == "resume")
    on: set[str] = set()
    for event in events[:paused]:
        if isinstance(event, OutputConfirmed):
            (on.add if event.on else on.discard)(event.output)
        if isinstance(event, AllOff):
            assert event.confirmed
            on.clear()
    assert on == set()
    assert station.plant.abuses == []


def test_readings_from_before_a_pause_are_kept() -> None:
    record, _, _ = send(signal.SIGTSTP, lambda e: isinstance(e, Sampled) and e.step == "time-40-to-90")
    names = [s.name for s in record.steps]
    assert names.count("earth-bond") == names.count("fill-time") == 1
    assert names.count("heater-current") == 2


def send_several(number: int, moments: list[Callable[[Event], bool]]) -> tuple[RunRecord, list[Event], Any]:
    """Run the inspection, and send this process a signal at each of some moments, one after another."""
    journal = ListJournal()
    benches: list[OpenBench] = []
    left = list(moments)

    def watch(event: Event) -> None:
        if left and left[0](event):
            left.pop(0)
            os.kill(os.getpid(), number)

    record = run_procedure(RunRequest(run="test", seed=6), bundled_plan(), [watch], lambda _: journal, benches.append)
    assert not left, "a moment never came"
    return record, journal.events, benches[0].station


def at_prompt(name: str) -> Callable[[Event], bool]:
    return lambda e: isinstance(e, Prompted) and e.step == name


def test_a_pause_asked_for_again_while_paused_loses_nothing() -> None:
    """Ctrl-Z again while the question whether to go on is there, which a simulated person answers at once."""
    record, events, station = send_several(signal.SIGTSTP, [in_step("fill-time"), at_prompt("resume")])
    assert record.ended.verdict is Verdict.PASS
    assert sum(isinstance(e, Prompted) and e.step == "resume" for e in events) in (1, 2)
    assert station.plant.abuses == []


def test_a_pause_while_the_preconditions_are_proved_again_is_a_pause() -> None:
    moments = [in_step("fill-time"), in_step("drained-after-pause"), in_step("fill-time")]
    record, events, station = send_several(signal.SIGTSTP, moments)
    assert record.ended.verdict is Verdict.PASS
    assert sum(isinstance(e, Prompted) and e.step == "resume" for e in events) == 3
    assert station.plant.abuses == []
    assert isinstance(events[-1], RunEnded)


def test_a_pause_before_the_first_step_waits_for_it() -> None:
    record, events, _ = send_several(signal.SIGTSTP, [lambda e: True])
    assert record.ended.verdict is Verdict.PASS
    first = next(n for n, e in enumerate(events) if isinstance(e, StepStarted))
    assert any(isinstance(e, Prompted) and e.step == "resume" for e in events[:first])


def test_a_signal_while_paused_ends_the_run() -> None:
    """Ctrl-Z, and at the question the window is closed."""
    journal = ListJournal()

    def watch(event: Event) -> None:
        if in_step("fill-time")(event) and not any(
            isinstance(e, Prompted) and e.step == "resume" for e in journal.events
        ):
            os.kill(os.getpid(), signal.SIGTSTP)
        if at_prompt("resume")(event):
            os.kill(os.getpid(), signal.SIGHUP)

    record = run_procedure(RunRequest(run="test", seed=6), bundled_plan(), [watch], lambda _: journal)
    assert record.ended.signal == signal.SIGHUP
    assert record.ended.all_off
    assert record.ended.verdict is Verdict.STOPPED


def test_a_pause_that_cannot_confirm_everything_off_ends_the_run() -> None:
    """Nobody is told that everything is off when it is not: a contactor that sticks, and a person about to reach in."""
    benches: list[OpenBench] = []
    journal = ListJournal()

    def watch(event: Event) -> None:
        if in_step("fill-time")(event):
            benches[0].station.misbehave("welded-says-on", "relays-1", channel=0)  # type: ignore[union-attr]
            os.kill(os.getpid(), signal.SIGTSTP)

    record = run_procedure(RunRequest(run="test", seed=6), bundled_plan(), [watch], lambda _: journal, benches.append)
    assert record.ended.verdict is Verdict.STOPPED
    assert not record.ended.all_off
    assert "cannot confirm that everything is off" in (record.ended.reason or "")
    assert not any(isinstance(e, Prompted) and e.step == "resume" for e in journal.events)


def test_a_screen_that_is_gone_ends_the_run_with_everything_off_and_on_record() -> None:
    """The reader of a pipe goes away in the middle of the fill."""
    journal = ListJournal()
    benches: list[OpenBench] = []

    def show(event: Event) -> None:
        if isinstance(event, Sampled) or in_step("fill-time")(event):
            raise BrokenPipeError(32, "Broken pipe")

    record = run_procedure(RunRequest(run="test", seed=6), bundled_plan(), [show], lambda _: journal, benches.append)
    assert record.ended.verdict is Verdict.STOPPED
    assert "can no longer be shown" in (record.ended.reason or "")
    assert record.ended.all_off
    assert isinstance(journal.events[-1], RunEnded)
    assert not any(benches[0].station.plant.coils(1))  # type: ignore[union-attr]
