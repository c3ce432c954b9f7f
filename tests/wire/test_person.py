"""The person's channel: one JSON line asked, one answered; and the same at real pace."""

import asyncio
import json
from typing import Any

import pytest
from fake_plant import FakePlant

from simulators.clock import LockstepClock
from simulators.wire import Pace
from simulators.wire.frames import LONGEST_LINE
from simulators.wire.link import Link
from simulators.wire.person import Person
from simulators.wire.tcp import TcpListener

Streams = tuple[asyncio.StreamReader, asyncio.StreamWriter]
WEIGH = {"verb": "weigh", "thing": "chamber-water", "kind": "number", "options": [], "unit": "g"}


async def say(streams: Streams, line: bytes) -> Any:
    streams[1].write(line + b"\n")
    return json.loads(await asyncio.wait_for(streams[0].readline(), 5.0))


async def link_to(plant: FakePlant, pace: Pace, longest: float = 2.0) -> tuple[TcpListener, Streams]:
    link = TcpListener(Link("person", Person(plant), pace, {"person": 0}, longest))
    host, port = await link.open()
    return link, await asyncio.open_connection(host, port)


def test_the_answer_comes_at_once_and_its_seconds_go_by_behind_it() -> None:
    async def work() -> None:
        plant, clock = FakePlant(), LockstepClock()
        link, streams = await link_to(plant, Pace(clock.now, clock))
        await clock.sleep(10.0)
        answer = await clock.exchange("person", lambda: say(streams, json.dumps(WEIGH).encode()), 3600.0)
        assert answer == {"answer": 412.5, "seconds": 90.0}
        assert plant.asked == [("weigh", "chamber-water", "number", [], "g")]
        assert (plant.now, clock.now()) == (10.0, 100.0)
        streams[1].close()
        await link.close()

    asyncio.run(work())


@pytest.mark.parametrize(
    ("line", "says"),
    [
        (b"{", "one JSON object on a line"),
        (b'"\xff"', "one JSON object on a line"),
        (b"[1]", "one JSON object on a line"),
        (b'{"verb": 7}', '"verb" is a string'),
        (b'{"options": "yes"}', '"options" is a list of strings'),
        (json.dumps(WEIGH | {"thing": "nonsense"}).encode(), "knows no 'nonsense'"),
    ],
)
def test_what_the_person_does_not_understand_is_said_and_costs_nothing(line: bytes, says: str) -> None:
    async def work() -> None:
        plant, clock = FakePlant(), LockstepClock()
        link, streams = await link_to(plant, Pace(clock.now, clock))
        answer = await clock.exchange("person", lambda: say(streams, line), 3600.0)
        assert says in answer["error"]
        assert answer.keys() == {"error"}
        assert clock.now() == 0.0
        assert (await say(streams, json.dumps(WEIGH).encode()))["answer"] == 412.5  # and goes on listening
        streams[1].close()
        await link.close()

    asyncio.run(work())


def test_a_line_without_an_end_is_cut_off() -> None:
    async def work() -> None:
        link, streams = await link_to(FakePlant(), Pace(lambda: 0.0, LockstepClock()))
        streams[1].write(b"x" * (LONGEST_LINE + 1))
        with pytest.raises((ConnectionError, asyncio.IncompleteReadError)):
            await asyncio.wait_for(streams[0].readexactly(1), 5.0)
        streams[1].close()
        await link.close()

    asyncio.run(work())


def test_at_real_pace_the_answer_is_held_back_but_never_beyond_the_longest_wait() -> None:
    async def work() -> None:
        loop = asyncio.get_running_loop()
        link, streams = await link_to(FakePlant(), Pace(lambda: 0.0, None, 9000.0))  # 90 s / 9000 = 10 ms
        began = loop.time()
        await say(streams, json.dumps(WEIGH).encode())
        assert loop.time() - began >= 0.009
        streams[1].close()
        await link.close()
        link, streams = await link_to(FakePlant(), Pace(lambda: 0.0, None, 1.0), longest=0.01)
        assert (await say(streams, json.dumps(WEIGH).encode()))["seconds"] == 90.0  # would take 90 s without
        streams[1].close()
        await link.close()

    asyncio.run(work())
