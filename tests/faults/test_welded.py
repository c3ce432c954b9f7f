"""A contact that does not open when it is told: named, not confirmed off, exit 3, and no run begins on such a bench."""

from __future__ import annotations

import pytest

from rig.bench.opening import OpenBench
from rig.cli.codes import exit_code
from rig.events import AllOff, Event, Noted, StepStarted
from rig.limits import Verdict
from rig.run.journal import ListJournal
from rig.run.session import RunRequest, run_procedure
from tests.conftest import bundled_plan, by_name


def weld(bench: OpenBench) -> None:
    """The mirror contact of the mains contactors says on from now on, whatever the coil does."""
    assert bench.station is not None
    plant = bench.station.plant
    true = plant.inputs
    plant.inputs = lambda: [True, *true()[1:]]


def test_it_is_found_when_it_should_open() -> None:
    journal = ListJournal()
    benches: list[OpenBench] = []

    def watch(event: Event) -> None:
        if isinstance(event, StepStarted) and event.step == "fill-time":
            weld(benches[0])

    record = run_procedure(RunRequest(run="test", seed=1), bundled_plan(), [watch], lambda _: journal, benches.append)
    assert not record.ended.all_off
    assert exit_code(record) == 3
    assert by_name(record)["fill-time"].verdict is Verdict.PASS  # measured before, and kept
    assert by_name(record)["water-drained"].verdict is Verdict.NOT_RUN
    assert "mains-aux" in (record.ended.reason or "")
    assert next(e for e in reversed(journal.events) if isinstance(e, AllOff)).unconfirmed == ("mains",)
    assert any("second process has dropped all boards" in e.text for e in journal.events if isinstance(e, Noted))


def test_a_welded_contact_that_says_off_is_found_by_what_is_measured() -> None:
    """Coil off, mirror contact off, and the unit still draws its idle current."""
    benches: list[OpenBench] = []

    def watch(event: Event) -> None:
        if isinstance(event, StepStarted) and event.step == "fill-time":
            station = benches[0].station
            assert station is not None
            station.misbehave("welded-says-off", "relays-1", channel=0)

    record = run_procedure(
        RunRequest(run="test", seed=1), bundled_plan(), [watch], lambda _: ListJournal(), benches.append
    )
    assert not record.ended.all_off
    assert exit_code(record) == 3
    assert "mains" in (record.ended.reason or "")


@pytest.mark.parametrize("step", ["untouched", "insulation", "proved-dead", "cut-out-resistance"])
def test_mains_that_comes_on_behind_a_mirror_contact_that_lies_stops_a_dead_stage(step: str) -> None:
    """Nobody told it, coil and mirror contact say off: what the unit draws is measured, before ohms and all along."""
    benches: list[OpenBench] = []

    def watch(event: Event) -> None:
        if isinstance(event, StepStarted) and event.step == step:
            station = benches[0].station
            assert station is not None
            station.misbehave("welded-says-off", "relays-1", channel=0)

    record = run_procedure(
        RunRequest(run="test", seed=1), bundled_plan(), [watch], lambda _: ListJournal(), benches.append
    )
    assert record.ended.verdict is Verdict.STOPPED
    assert not record.ended.all_off
    assert "mains" in (record.ended.reason or "")
    assert "measured" in (record.ended.reason or "")
    assert by_name(record)["chassis-reference-resistance"].verdict is Verdict.NOT_RUN


def test_nothing_begins_on_a_bench_that_is_not_off() -> None:
    record = run_procedure(RunRequest(run="test", seed=1), bundled_plan(), [], lambda _: ListJournal(), weld)
    assert record.ended.verdict is Verdict.STOPPED
    assert "not confirmed off: mains" in (record.ended.reason or "")
    assert {s.verdict for s in record.steps} == {Verdict.NOT_RUN}
    assert exit_code(record) == 3
