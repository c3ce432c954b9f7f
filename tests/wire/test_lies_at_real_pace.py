"""The same faults where time is the wall's: they take their time, and the bytes are the same. Only lower bounds."""

import asyncio
from collections.abc import Awaitable, Callable

import pytest
from fake_plant import FakePlant
from peer import Peer, on_station, tcp

from simulators.station import Station
from simulators.wire.misbehaviour.timing import NOISE

READ, SAID = tcp("01 0000 0018"), tcp("01 03 05 00 00")
NEXT, NEXT_SAID = tcp("01 0000 0004", transaction=0x1235), tcp("01 01 05", transaction=0x1235)
QUIET = 0.03  # s without a byte


def at_pace(work: Callable[[Station, Peer], Awaitable[None]]) -> None:
    async def run(station: Station, plant: FakePlant) -> None:
        plant.boards[1][0] = plant.boards[1][2] = True
        peer = await Peer(station, "modbus").open()
        await work(station, peer)
        peer.close()

    on_station(run, lockstep=False)


async def until(peer: Peer, size: int) -> bytes:
    async with asyncio.timeout(10.0):
        while len(peer.heard) < size:
            await asyncio.sleep(0.0005)
    return await peer.take()


@pytest.mark.parametrize(
    ("kind", "first", "second"),
    [
        ("silence", b"", NEXT_SAID),
        ("answer-lost", b"", NEXT_SAID),
        ("half-open", b"", NEXT_SAID),
        ("half", SAID[:6], NEXT_SAID),
        ("held-back", b"", SAID + NEXT_SAID),
        ("half-then-late", SAID[:6], SAID[6:] + NEXT_SAID),
        ("twice", SAID + SAID, NEXT_SAID),
        ("twice-later", SAID, SAID + NEXT_SAID),
        ("garbage", NOISE, NEXT_SAID),
        ("garbage-before", NOISE + SAID, NEXT_SAID),
        ("echo", READ + SAID, NEXT_SAID),
        ("exception-6", tcp("81 06"), NEXT_SAID),
    ],
)
def test_what_comes_for_two_questions(kind: str, first: bytes, second: bytes) -> None:
    async def work(station: Station, peer: Peer) -> None:
        station.misbehave(kind, "relays-1", times=1)
        peer.write(READ)
        if first:
            assert await until(peer, len(first)) == first
        await asyncio.sleep(QUIET)
        assert await peer.take() == b""
        peer.write(NEXT)
        assert await until(peer, len(second)) == second

    at_pace(work)


def test_late_answers_come_late() -> None:
    async def work(station: Station, peer: Peer) -> None:
        loop = asyncio.get_running_loop()
        for kind, least in (("late", 0.05), ("pause", 0.05), ("drip", 0.05 * (len(SAID) - 1))):
            station.misbehave(kind, "relays-1", times=1, seconds=0.05)
            began = loop.time()
            peer.write(READ)
            assert await until(peer, len(SAID)) == SAID
            assert loop.time() - began >= least

    at_pace(work)


def test_a_very_late_answer_does_not_keep_the_next_one_waiting() -> None:
    async def work(station: Station, peer: Peer) -> None:
        station.misbehave("very-late", "relays-1", times=1, seconds=0.1)
        began = asyncio.get_running_loop().time()
        peer.write(READ)
        peer.write(NEXT)
        heard = await until(peer, len(NEXT_SAID + SAID))
        assert asyncio.get_running_loop().time() - began >= 0.1
        assert heard == NEXT_SAID + SAID  # under way for so long, it is overtaken

    at_pace(work)


@pytest.mark.parametrize(("kind", "heard"), [("reset", b""), ("hang-up", b""), ("hang-up-after", SAID)])
def test_connections_end(kind: str, heard: bytes) -> None:
    async def work(station: Station, peer: Peer) -> None:
        station.misbehave(kind, "relays-1", times=1)
        peer.write(READ)
        async with asyncio.timeout(10.0):
            while not peer.cut:
                await asyncio.sleep(0.0005)
        assert await peer.take() == heard

    at_pace(work)
