"""Guarded outputs: what may be on together, and that off needs no permission."""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable
from typing import Any

import pytest

from rig.bench.opening import OpenBench, StationOrder, open_bench
from rig.errors import InputError, OutputError, Stopped
from rig.events import Event, Noted, OutputIntended
from rig.quantities import parse
from tests.conftest import bundled_plan


def on_bench(work: Callable[[OpenBench, list[Event]], Awaitable[Any]], **order: Any) -> Any:
    """Do something on a freshly opened simulated bench."""

    async def main() -> Any:
        events: list[Event] = []
        bench = await open_bench(bundled_plan().bench, StationOrder(unit="demo-18-dc", **order), events.append)
        try:
            make_ready(bench)
            return await work(bench, events)
        finally:
            await bench.close()

    return asyncio.run(main())


def make_ready(bench: OpenBench) -> None:
    """What a person does before power: door and lid shut, earth bond passed."""
    assert bench.station is not None
    bench.station.plant.person("confirm", "door-shut", "done", (), "")
    bench.live.interlocks.confirm("earth-bond", True)
    bench.live.interlocks.confirm("live-work", True)


@pytest.mark.parametrize(
    ("drive", "output", "allowed"),
    [
        ("dead", "mains", False),
        ("dead", "fill-feed", False),
        ("dead", "ohms-bus", True),
        ("board drives", "mains", True),
        ("board drives", "fill-feed", False),
        ("bench feeds", "mains", False),
        ("bench feeds", "heater-enable", False),
        ("bench feeds", "fill-feed", True),
    ],
)
def test_three_exclusive_ways_to_drive(drive: Any, output: str, allowed: bool) -> None:
    async def work(bench: OpenBench, events: list[Event]) -> None:
        bench.live.outputs.drive = drive
        if allowed:
            await bench.live.outputs.turn_on(output)
            assert bench.live.outputs.on == (output,)
        else:
            with pytest.raises(Stopped) as refused:
                await bench.live.outputs.turn_on(output)
            assert drive in refused.value.what
            assert not events, "a refused switch is not an intent"
            assert bench.station is not None
            assert not any(bench.station.plant.coils(1))

    on_bench(work)


def test_ohms_only_when_dead() -> None:
    async def work(bench: OpenBench, events: list[Event]) -> None:
        live = bench.live
        live.outputs.drive = "board drives"
        with pytest.raises(Stopped):
            await live.meter.measure("heater", "resistance four-wire", None, 1)
        await live.outputs.turn_on("mains")
        live.outputs.drive = "dead"  # somebody lies about the stage: what is on still counts
        with pytest.raises(Stopped) as refused:
            await live.meter.measure("heater", "resistance four-wire", None, 1)
        assert "mains" in refused.value.what
        assert bench.station is not None
        assert [a for a in bench.station.plant.abuses if "ohms" in a] == []

    on_bench(work)


def test_all_off_twice_and_from_anywhere() -> None:
    async def work(bench: OpenBench, events: list[Event]) -> None:
        outputs = bench.live.outputs
        outputs.drive = "board drives"
        for name in ("mains", "volts-bus", "lamp-red"):
            await outputs.turn_on(name)
        for _ in range(2):
            report = await outputs.all_off()
            assert report.confirmed
            assert report.why == ()
            assert outputs.on == ()
        assert bench.station is not None
        assert not any(bench.station.plant.coils(1))

    on_bench(work)


def test_a_write_is_not_an_effect() -> None:
    """A contact that does not follow is an error, named, and the output counts as possibly on."""

    async def work(bench: OpenBench, events: list[Event]) -> None:
        assert bench.station is not None
        plant = bench.station.plant
        true_inputs = plant.inputs

        def mirror(closed: bool) -> Callable[[], list[bool]]:
            return lambda: [closed, *true_inputs()[1:]]

        plant.inputs = mirror(False)  # the mirror contact of the mains contactors stays open
        bench.live.outputs.drive = "board drives"
        with pytest.raises(OutputError) as failed:
            await bench.live.outputs.turn_on("mains")
        assert "mains-aux" in failed.value.what
        assert failed.value.culprit == "mains"
        assert bench.live.outputs.on == ("mains",)
        plant.inputs = mirror(True)  # and now a contactor that is welded
        report = await bench.live.outputs.all_off()
        assert report.unconfirmed == ("mains",)

    on_bench(work)


def test_the_times_of_a_switch_bracket_its_feedback() -> None:
    async def work(bench: OpenBench, events: list[Event]) -> None:
        bench.live.outputs.drive = "board drives"
        before = bench.live.clock.now()
        answer = await bench.live.outputs.turn_on("mains")
        assert before <= answer.asked < answer.had == bench.live.clock.now()
        assert isinstance(events[0], OutputIntended)

    on_bench(work)


def test_unknown_fault_and_impossible_unit_are_input_errors() -> None:
    async def work(bench: OpenBench, events: list[Event]) -> None:
        raise AssertionError("must not open")

    with pytest.raises(InputError) as refused:
        on_bench(work, faults=(("filter-chocked", 1.0),))
    assert "filter-choked" in refused.value.what


def test_an_output_that_comes_on_by_itself_is_seen_by_its_feedback_and_by_its_coil() -> None:
    async def work(bench: OpenBench, events: list[Event]) -> None:
        assert bench.station is not None
        plant, outputs, inputs = (
            bench.station.plant,
            bench.live.outputs,
            bench.live.wiring.inputs["mains-aux"].instrument,
        )
        outputs.drive = "board drives"
        await outputs.turn_on("mains")
        await bench.live.readers.inputs(inputs)
        assert outputs.came_on() is None  # it was turned on
        await outputs.turn_off("mains")
        await bench.live.readers.inputs(inputs)
        assert outputs.came_on() is None
        true_inputs = plant.inputs
        plant.inputs = lambda: [True, *true_inputs()[1:]]
        await bench.live.readers.inputs(inputs)
        assert outputs.came_on() == "mains"
        plant.inputs = true_inputs
        await bench.live.readers.inputs(inputs)
        assert outputs.came_on() is None
        plant.set_coil(1, bench.live.wiring.outputs["mains"].channel, True)  # behind the rig's back
        await outputs.look_at_boards()
        assert outputs.came_on() == "mains"

    on_bench(work)


def test_a_coil_that_was_on_rests_as_long_before_it_goes_on_again() -> None:
    async def work(bench: OpenBench, events: list[Event]) -> None:
        outputs, clock = bench.live.outputs, bench.live.clock
        outputs.drive = "bench feeds"
        began = clock.now()
        await outputs.turn_on("fill-feed")
        assert clock.now() - began < 1.0, "the first time it waits for nothing"
        await clock.sleep(20.0)
        off = await outputs.turn_off("fill-feed")
        on = await outputs.turn_on("fill-feed")
        assert 20.0 <= on.had - off.had < 21.0
        assert [e.text for e in events if isinstance(e, Noted)] == ["fill-feed rests 20 s, as long as it was on"]
        await outputs.all_off()
        await clock.sleep(2.0)
        again = clock.now()
        await outputs.turn_on("fill-feed")
        assert clock.now() - again < 0.5, "it has been off for long enough"

    on_bench(work)


def test_a_run_is_live_for_its_longest_time_and_no_longer() -> None:
    def wiring(hours: str) -> Any:
        bench = bundled_plan().bench
        mains = bench.outputs["mains"].model_copy(update={"longest_on": parse("24 h")})
        changed = {"outputs": {**bench.outputs, "mains": mains}, "longest_live": parse(hours)}
        return bench.model_copy(update=changed)

    async def main(hours: str) -> str | None:
        bench = await open_bench(wiring(hours), StationOrder(unit="demo-18-dc"), lambda event: None)
        try:
            make_ready(bench)
            live, clock = bench.live, bench.live.clock
            live.outputs.drive = "board drives"
            watching = clock.spawn(live.interlocks.watch(), "watch")
            for _ in range(3):  # ten minutes at a time, with pauses that do not count
                await live.outputs.turn_on("mains")
                await clock.sleep(600.0)
                await live.outputs.turn_off("mains")
                await clock.sleep(600.0)
                if live.interlocks.latched:
                    break
            await clock.cancel(watching)
            return live.interlocks.latched
        finally:
            await bench.close()

    assert asyncio.run(main("1 h")) is None
    latched = asyncio.run(main("0.4 h")) or ""
    assert "something was on for 0.4 h of this run" in latched
