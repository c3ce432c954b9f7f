"""The lockstep clock: order, joins, deadlock. Traces are compared exactly."""

import asyncio
import math
import random

import pytest

from simulators.clock import LockstepClock, LockstepDeadlock

Trace = list[tuple[str, float]]


async def jitter(source: random.Random) -> None:
    """What the event loop does between two steps of a participant must not matter."""
    for _ in range(source.randrange(5)):
        await asyncio.sleep(0)


async def sampler(
    clock: LockstepClock, name: str, every: float, trace: Trace, source: random.Random, link: str = ""
) -> None:
    async def ask() -> None:
        await jitter(source)
        clock.declare_cost(link, 0.03)

    for _ in range(20):
        await jitter(source)
        trace.append((name, clock.now()))
        if link:
            await clock.exchange(link, ask, 1.0)
            trace.append((name + " answered", clock.now()))
        await clock.sleep(every)


async def two_samplers_and_main(seed: int) -> Trace:
    clock, trace, source = LockstepClock(), Trace(), random.Random(seed)
    a = clock.spawn(sampler(clock, "a", 0.1, trace, source, "bus"), "a")
    b = clock.spawn(sampler(clock, "b", 0.1, trace, source, "bus"), "b")
    await sampler(clock, "main", 0.25, trace, source)
    await clock.join(a)
    trace.append(("joined a", clock.now()))
    await clock.join(b)
    trace.append(("joined b", clock.now()))
    return trace


def test_same_interleaving_whatever_the_event_loop_does() -> None:
    first = asyncio.run(two_samplers_and_main(0))
    assert len(first) == 102
    assert [time for _, time in first] == sorted(time for _, time in first)
    for seed in range(1, 50):
        assert asyncio.run(two_samplers_and_main(seed)) == first


def test_ties_go_in_the_order_of_falling_asleep() -> None:
    async def late(clock: LockstepClock, name: str, delays: list[float], trace: Trace) -> None:
        for delay in delays:
            await clock.sleep(delay)
        trace.append((name, clock.now()))

    async def work() -> Trace:
        clock, trace = LockstepClock(), Trace()
        tasks = [
            clock.spawn(late(clock, "slept 1 then 1", [1.0, 1.0], trace), "a"),
            clock.spawn(late(clock, "slept 2 first", [2.0], trace), "b"),
            clock.spawn(late(clock, "slept 2 second", [2.0], trace), "c"),
        ]
        for task in tasks:
            await clock.join(task)
        return trace

    assert asyncio.run(work()) == [("slept 2 first", 2.0), ("slept 2 second", 2.0), ("slept 1 then 1", 2.0)]


def test_a_spawned_task_waits_for_the_baton() -> None:
    async def note(trace: Trace, clock: LockstepClock) -> None:
        trace.append(("spawned", clock.now()))

    async def work() -> Trace:
        clock, trace = LockstepClock(), Trace()
        clock.spawn(note(trace, clock), "note")
        for _ in range(10):
            await asyncio.sleep(0)
        trace.append(("main", clock.now()))
        await clock.sleep(1.0)
        trace.append(("main", clock.now()))
        return trace

    assert asyncio.run(work()) == [("main", 0.0), ("spawned", 0.0), ("main", 1.0)]


def test_join_wakes_when_the_task_ended_and_passes_its_error_on() -> None:
    async def fail_at(clock: LockstepClock, when: float) -> None:
        await clock.sleep_until(when)
        raise KeyError("spoilt")

    async def work() -> None:
        clock = LockstepClock()
        task = clock.spawn(fail_at(clock, 7.0), "spoilt")
        with pytest.raises(KeyError, match="spoilt"):
            await clock.join(task)
        assert clock.now() == 7.0
        with pytest.raises(KeyError, match="spoilt"):
            await clock.join(task)
        stranger = asyncio.create_task(asyncio.sleep(60))
        with pytest.raises(ValueError, match="not spawned"):
            await clock.join(stranger)
        stranger.cancel()

    asyncio.run(work())


def test_deadlock_names_everyone_who_waits() -> None:
    async def work() -> list[str]:
        clock = LockstepClock()
        tasks: list[asyncio.Task[None]] = []

        async def join(other: int) -> None:
            await clock.sleep(1.0)
            await clock.join(tasks[other])

        tasks.append(clock.spawn(join(1), "filler"))
        tasks.append(clock.spawn(join(0), "drainer"))
        with pytest.raises(LockstepDeadlock) as main:
            await clock.join(tasks[0])
        told = [str(main.value)]
        for task in tasks:
            with pytest.raises(LockstepDeadlock) as theirs:
                await clock.join(task)
            told.append(str(theirs.value))
        await clock.sleep(1.0)
        assert clock.now() == 2.0
        return told

    told = asyncio.run(work())
    assert set(told) == {told[0]}
    assert "filler waits for the end of drainer" in told[0]
    assert "drainer waits for the end of filler" in told[0]
    assert "waits for the end of filler; filler" in told[0]  # main, by the name that asyncio gave it


@pytest.mark.parametrize("when", [math.inf, math.nan])
def test_a_time_that_never_comes_is_refused(when: float) -> None:
    with pytest.raises(ValueError, match="cannot sleep"):
        asyncio.run(LockstepClock().sleep_until(when))
