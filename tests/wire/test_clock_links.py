"""The lockstep clock: exchanges on links, what they cost and how they end."""

import asyncio
import contextlib
import math
import time

import pytest

from simulators import clock as clock_module
from simulators.clock import LockstepClock

Trace = list[tuple[str, float]]


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


@pytest.mark.parametrize("cancelled", [None, "b", "c"])
def test_an_asker_may_sleep_with_the_line_in_its_hand(cancelled: str | None) -> None:
    """As between two frames on a serial line; who stands in line behind it waits, and may be taken out of it."""

    async def work() -> Trace:
        clock, trace = LockstepClock(), Trace()

        async def user(name: str) -> None:
            async def ask() -> None:
                await clock.sleep(1.0)
                clock.declare_cost("bus", 0.5)

            await clock.exchange("bus", ask, 2.0)
            trace.append((name, clock.now()))

        tasks = {name: clock.spawn(user(name), name) for name in "abc"}
        await clock.sleep(0.25)
        if cancelled is not None:
            await clock.cancel(tasks.pop(cancelled))
        for task in tasks.values():
            await clock.join(task)
        return trace

    left = [name for name in "abc" if name != cancelled]
    assert asyncio.run(work()) == [(name, 1.5 * (n + 1)) for n, name in enumerate(left)]


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


def test_a_far_end_that_works_long_on_a_busy_machine_is_not_taken_for_gone(monkeypatch: pytest.MonkeyPatch) -> None:
    """The loop stands still while it works, and turns only a few times until the answer is taken."""
    monkeypatch.setattr(clock_module, "WALL_GUARD_SECONDS", 0.01)

    async def work() -> str:
        clock = LockstepClock()

        async def ask() -> str:
            done = time.perf_counter() + 0.05
            while time.perf_counter() < done:
                pass
            for _ in range(10):
                await asyncio.sleep(0)
            return "yes"

        return await clock.exchange("meter", ask, 3.0)

    assert asyncio.run(work()) == "yes"


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
