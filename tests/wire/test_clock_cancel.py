"""The lockstep clock: cancellation, of it and past it. Traces are compared exactly."""

import asyncio

import pytest

from simulators.clock import LockstepClock

Trace = list[tuple[str, float]]


async def tidy(clock: LockstepClock, trace: Trace) -> None:
    try:
        await clock.sleep(100.0)
    finally:
        trace.append(("cleaning", clock.now()))
        await clock.sleep(0.5)
        trace.append(("clean", clock.now()))


def test_cancel_waits_for_the_clean_up_in_simulated_time() -> None:
    async def work() -> Trace:
        clock, trace = LockstepClock(), Trace()
        task = clock.spawn(tidy(clock, trace), "tidy")
        await clock.sleep(1.0)
        await clock.cancel(task)
        trace.append(("cancelled", clock.now()))
        assert task.cancelled()
        await clock.cancel(task)
        return trace

    assert asyncio.run(work()) == [("cleaning", 1.0), ("clean", 1.5), ("cancelled", 1.5)]


def test_cancel_before_the_first_line_never_runs_it() -> None:
    async def work() -> Trace:
        clock, trace = LockstepClock(), Trace()
        task = clock.spawn(tidy(clock, trace), "tidy")
        await clock.cancel(task)
        other = clock.spawn(tidy(clock, trace), "other")
        other.cancel()
        with pytest.raises(asyncio.CancelledError):
            await clock.join(other)
        await clock.sleep(3.0)
        assert clock.now() == 3.0
        return trace

    assert asyncio.run(work()) == []


def test_cancel_passes_on_what_goes_wrong_in_the_clean_up() -> None:
    async def messy(clock: LockstepClock) -> None:
        try:
            await clock.sleep(100.0)
        finally:
            raise OSError("the relay board does not answer")

    async def work() -> None:
        clock = LockstepClock()
        task = clock.spawn(messy(clock), "messy")
        await clock.sleep(1.0)
        with pytest.raises(OSError, match="relay board"):
            await clock.cancel(task)

    asyncio.run(work())


def test_a_sleeper_cancelled_from_outside_is_awake_and_may_sleep_again() -> None:
    async def work() -> Trace:
        clock, trace = LockstepClock(), Trace()
        task = clock.spawn(tidy(clock, trace), "tidy")
        await clock.sleep(1.0)
        task.cancel()  # as a signal handler would, past the clock
        await clock.sleep(0.2)  # two are awake for a moment; the earlier sleeper still wakes first
        trace.append(("main", clock.now()))
        with pytest.raises(asyncio.CancelledError):
            await clock.join(task)
        trace.append(("joined", clock.now()))
        await clock.sleep(1.0)
        trace.append(("main", clock.now()))
        return trace

    expected = [("cleaning", 1.0), ("main", 1.2), ("clean", 1.5), ("joined", 1.5), ("main", 2.5)]
    assert asyncio.run(work()) == expected


def test_a_joiner_cancelled_from_outside_leaves_the_queue() -> None:
    async def work() -> float:
        clock, trace = LockstepClock(), Trace()
        slow = clock.spawn(tidy(clock, trace), "slow")

        async def wait() -> None:
            await clock.join(slow)

        joiner = clock.spawn(wait(), "joiner")
        await clock.sleep(1.0)
        joiner.cancel()
        with pytest.raises(asyncio.CancelledError):
            await clock.join(joiner)
        assert not slow.done()
        await clock.cancel(slow)
        return clock.now()

    assert asyncio.run(work()) == 1.5


def test_main_cancelled_from_outside_while_asleep_can_still_switch_off() -> None:
    async def run(clock: LockstepClock, trace: Trace) -> None:
        async def ask() -> str:
            await asyncio.sleep(0)
            clock.declare_cost("bus", 0.03)
            if clock.now() > 1.0 and main and not main.cancelling():
                main.cancel()  # as a signal would, while bytes of another are on the wire
                await asyncio.sleep(0)
            return "answer"

        async def watch() -> None:
            while True:
                trace.append(("watch " + await clock.exchange("bus", ask, 1.0), clock.now()))
                await clock.sleep(0.5)

        main = asyncio.current_task()
        watcher = clock.spawn(watch(), "watch")
        try:
            await clock.sleep(1000.0)
        finally:
            trace.append(("off " + await clock.exchange("bus", ask, 1.0), clock.now()))
            await clock.cancel(watcher)
            trace.append(("end", clock.now()))

    async def work() -> Trace:
        clock, trace = LockstepClock(), Trace()
        main = asyncio.create_task(run(clock, trace))
        with pytest.raises(asyncio.CancelledError):
            await main
        return trace

    names, times = zip(*asyncio.run(work()), strict=True)
    assert names == ("watch answer",) * 3 + ("off answer", "end")
    assert times == pytest.approx((0.03, 0.56, 1.09, 1.12, 1.12))
