"""The lockstep clock: order, cancellation, joins, links, deadlock. Traces are compared exactly."""

import asyncio
import contextlib
import math
import random
import time

import pytest

from simulators import clock as clock_module
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


def test_two_on_one_link_queue_in_simulated_time_and_links_overlap() -> None:
    async def work() -> Trace:
        clock, trace = LockstepClock(), Trace()

        async def user(name: str, link: str, cost: float) -> None:
            async def ask() -> None:
                await asyncio.sleep(0)
                clock.declare_cost(link, cost)

            for _ in range(2):
                await clock.exchange(link, ask, 2.0)
                trace.append((name, clock.now()))

        tasks = [
            clock.spawn(user("a", "bus", 1.0), "a"),
            clock.spawn(user("b", "bus", 1.0), "b"),
            clock.spawn(user("m", "meter", 1.5), "m"),
        ]
        for task in tasks:
            await clock.join(task)
        return trace

    served = [("a", 1.0), ("m", 1.5), ("b", 2.0), ("m", 3.0), ("a", 3.0), ("b", 4.0)]
    assert asyncio.run(work()) == served


def test_three_on_one_link_are_served_in_turn() -> None:
    async def work() -> list[str]:
        clock, order = LockstepClock(), list[str]()

        async def user(name: str) -> None:
            async def ask() -> None:
                order.append(name)
                clock.declare_cost("bus", 0.004)

            for _ in range(4):
                await clock.exchange("bus", ask, 1.0)

        tasks = [clock.spawn(user(name), name) for name in "abc"]
        for task in tasks:
            await clock.join(task)
        assert clock.now() == pytest.approx(12 * 0.004)
        return order

    assert "".join(asyncio.run(work())) == "abcabcabcabc"


def test_declared_silence_costs_the_timeout_and_keeps_the_link() -> None:
    async def work() -> None:
        clock = LockstepClock()
        asked = 0

        async def never() -> None:
            nonlocal asked
            asked += 1
            asyncio.get_running_loop().call_soon(clock.declare_silence, "bus")
            await asyncio.get_running_loop().create_future()

        async def other() -> float:
            async def ask() -> None:
                clock.declare_cost("bus", 0.5)

            await clock.sleep(0.1)
            await clock.exchange("bus", ask, 1.0)
            return clock.now()

        task = clock.spawn(other(), "other")
        with pytest.raises(TimeoutError, match="no answer on bus within 2 s"):
            await clock.exchange("bus", never, 2.0)
        assert clock.now() == 2.0
        assert asked == 1
        assert await clock.join(task) == 2.5
        clock.declare_silence("bus")  # nobody is asking: nothing happens

    asyncio.run(work())


def test_a_peer_that_is_really_gone_ends_in_wall_time(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(clock_module, "WALL_GUARD_SECONDS", 0.01)

    async def work() -> float:
        clock = LockstepClock()
        with pytest.raises(TimeoutError, match="no answer on meter"):
            await clock.exchange("meter", asyncio.get_running_loop().create_future, 3.0)
        return clock.now()

    assert asyncio.run(work()) == 3.0


def test_what_ask_raises_is_raised_and_the_link_stays_usable() -> None:
    async def work() -> None:
        clock = LockstepClock()

        async def refused() -> None:
            raise ConnectionRefusedError("nobody listens")

        async def answered() -> str:
            clock.declare_cost("bus", 0.25)
            return "yes"

        with pytest.raises(ConnectionRefusedError):
            await clock.exchange("bus", refused, 1.0)
        assert await clock.exchange("bus", answered, 1.0) == "yes"
        assert clock.now() == 0.25

    asyncio.run(work())


def test_a_cost_beyond_the_limit_ends_at_the_limit_and_the_next_exchange_pays_the_rest() -> None:
    async def work() -> None:
        clock = LockstepClock()

        async def slow() -> str:
            clock.declare_cost("bus", 2.0)
            await asyncio.get_running_loop().create_future()
            return "never"

        async def quick() -> str:
            assert clock.on_wire("bus").limit == 1.0
            clock.declare_cost("bus", 0.25)
            return "yes"

        with pytest.raises(TimeoutError, match=r"no answer on bus within 0\.5 s"):
            await clock.exchange("bus", slow, 0.5)
        assert clock.now() == 0.5
        assert clock.on_wire("bus") == (1.5, math.inf)
        await clock.sleep(1.0)
        assert await clock.exchange("bus", quick, 1.0) == "yes"
        assert clock.now() == 0.5 + 1.0 + 0.5 + 0.25
        assert await clock.exchange("bus", quick, 1.0) == "yes"
        assert clock.now() == 2.5

    asyncio.run(work())


def test_an_asker_that_swallows_its_cancellation_keeps_its_answer_and_no_trace_of_it() -> None:
    """As asyncio.wait_for does in Python 3.11 when answer and cancellation come together."""

    async def work() -> None:
        clock = LockstepClock()

        async def swallows() -> str:
            clock.declare_silence("bus")
            with contextlib.suppress(asyncio.CancelledError):
                await asyncio.sleep(0)
            return "taken"

        assert await clock.exchange("bus", swallows, 0.5) == "taken"
        task = asyncio.current_task()
        assert task is not None
        assert not task.cancelling()

    asyncio.run(work())


def test_a_machine_that_stands_still_does_not_use_up_the_grace() -> None:
    async def work() -> None:
        clock, loop = LockstepClock(), asyncio.get_running_loop()

        async def ask() -> str:
            clock.declare_silence("bus", grace=0.01)
            answer: asyncio.Future[str] = loop.create_future()
            loop.call_soon(time.sleep, 0.02)  # nobody's turn
            loop.call_later(0.005, answer.set_result, "taken")
            return await answer

        assert await clock.exchange("bus", ask, 0.5) == "taken"

    asyncio.run(work())


@pytest.mark.parametrize("yields", [0, 1, 5])
def test_an_answer_that_is_there_at_once_is_no_answer_when_it_costs_more_than_the_limit(yields: int) -> None:
    async def work() -> None:
        clock = LockstepClock()

        async def at_once() -> str:
            clock.declare_cost("bus", 2.0)
            for _ in range(yields):
                await asyncio.sleep(0)
            return "too good to be true"

        for k in (1, 2):
            with pytest.raises(TimeoutError, match=r"within 0\.5 s"):
                await clock.exchange("bus", at_once, 0.5)
            assert clock.now() == 0.5 * k
        await clock.sleep(0.0)  # nothing of the cancellation is left over
        task = asyncio.current_task()
        assert task is not None
        assert not task.cancelling()

    asyncio.run(work())


def test_silence_with_grace_leaves_the_asker_time_and_never_touches_the_next_exchange() -> None:
    async def work() -> None:
        clock = LockstepClock()

        async def takes_it() -> str:
            clock.declare_silence("bus", grace=0.002)
            return "taken"

        async def does_not() -> str:
            clock.declare_silence("bus", grace=0.002)
            await asyncio.get_running_loop().create_future()
            return "never"

        async def the_next() -> str:
            await asyncio.sleep(0.005)
            return "untouched"

        assert await clock.exchange("bus", takes_it, 1.0) == "taken"
        assert await clock.exchange("bus", the_next, 1.0) == "untouched"
        assert clock.now() == 0.0
        with pytest.raises(TimeoutError):
            await clock.exchange("bus", does_not, 1.0)
        assert clock.now() == 1.0

    asyncio.run(work())


def test_what_was_written_only_is_over_after_its_time() -> None:
    async def work() -> None:
        clock = LockstepClock()

        async def ask() -> None:
            clock.declare_cost("meter", 0.1)

        clock.declare_cost("meter", 0.5)
        await clock.exchange("meter", ask, 1.0)
        assert clock.now() == 0.6
        clock.declare_cost("meter", 0.5)
        await clock.sleep(3.0)
        await clock.exchange("meter", ask, 1.0)
        assert clock.now() == pytest.approx(3.7)

    asyncio.run(work())
