"""An instrument that goes away in the middle of a step: named, no reading, everything else off, nothing lost."""

from __future__ import annotations

import asyncio
from typing import Any

import pytest

from rig.bench.opening import OpenBench
from rig.events import AllOff, Event, Noted, RunRecord, Sampled, StepEnded, StepStarted
from rig.limits import Verdict
from rig.run.journal import ListJournal
from rig.run.session import RunRequest, run_procedure
from tests.conftest import bundled_plan, by_name


def lose(link: str, at: type[Event], step: str, count: int = 1) -> tuple[RunRecord, list[Event], Any]:
    """Run the inspection and close one listener of the station at the ``count``-th event of a kind in a step."""
    journal = ListJournal()
    benches: list[OpenBench] = []
    left = [count]

    def watch(event: Event) -> None:
        if isinstance(event, at) and getattr(event, "step", None) == step:
            left[0] -= 1
            if left[0] == 0:
                station = benches[0].station
                assert station is not None
                closing = asyncio.get_running_loop().create_task(station.close_listener(link))
                kept.append(closing)

    kept: list[asyncio.Task[None]] = []
    record = run_procedure(RunRequest(run="test", seed=3), bundled_plan(), [watch], lambda _: journal, benches.append)
    assert left[0] <= 0, "the moment never came"
    return record, journal.events, benches[0].station


@pytest.mark.parametrize(
    ("at", "step", "count"),
    [
        (StepStarted, "heater-cold-resistance", 1),
        (StepStarted, "fill-supply-loaded", 1),
        (StepStarted, "plunger-dip", 1),
    ],
)
def test_a_meter_that_goes_away(at: type[Event], step: str, count: int) -> None:
    record, events, station = lose("meter", at, step, count)
    steps = by_name(record)
    assert steps[step].verdict is Verdict.NO_READING
    assert steps[step].reading is None
    assert "meter-1" in (steps[step].reason or "")
    assert "cable" in (steps[step].reason or "")
    assert record.ended.verdict is Verdict.NO_READING
    assert record.ended.all_off
    assert not any(station.plant.coils(1))
    assert steps["earth-bond"].reading is not None
    assert steps["heat-rise"].verdict is Verdict.NOT_RUN
    assert station.plant.abuses == []
    assert {e.result.name for e in events if isinstance(e, StepEnded)} == set(steps)


@pytest.mark.parametrize(
    ("at", "step", "count"),
    [(StepStarted, "fill-time", 1), (Sampled, "chamber-pressure-filling", 20), (Sampled, "time-40-to-90", 5)],
)
def test_a_bus_that_goes_away_says_what_it_could_not_confirm(at: type[Event], step: str, count: int) -> None:
    record, events, _ = lose("modbus", at, step, count)
    steps = by_name(record)
    running = "fill-time" if step == "chamber-pressure-filling" else step
    assert steps[running].verdict is Verdict.NO_READING
    assert record.ended.verdict is Verdict.NO_READING
    assert not record.ended.all_off
    off = next(e for e in events if isinstance(e, AllOff))
    assert "mains" in off.unconfirmed
    assert any("relays-1" in e.text for e in events if isinstance(e, Noted))
    assert steps["coil-resistance"].reading is not None


def test_a_person_who_goes_away() -> None:
    record, _, station = lose("person", StepStarted, "water-drained")
    assert by_name(record)["water-drained"].verdict is Verdict.NO_READING
    assert record.ended.all_off
    assert not any(station.plant.coils(1))


def test_when_the_first_process_loses_its_bus_the_second_drops_the_outputs_by_its_own_way() -> None:
    """The cable is sound and the boards live; only this program cannot reach them any more."""
    journal = ListJournal()
    benches: list[OpenBench] = []
    seen = [0]

    def watch(event: Event) -> None:
        if isinstance(event, Sampled) and event.step == "time-40-to-90":
            seen[0] += 1
            if seen[0] == 3:
                bus: Any = benches[0].live.instruments["relays-1"].bus  # type: ignore[attr-defined]
                bus.close()
                bus._line._host, bus._line._port = "127.0.0.1", 1  # nobody listens there

    record = run_procedure(RunRequest(run="test", seed=3), bundled_plan(), [watch], lambda _: journal, benches.append)
    station = benches[0].station
    assert station is not None
    assert record.ended.verdict is Verdict.NO_READING
    assert not record.ended.all_off, "this program could not confirm it"
    assert any("second process has dropped all boards" in e.text for e in journal.events if isinstance(e, Noted))
    assert not any(station.plant.coils(1))
    assert not any(station.plant.coils(4))
