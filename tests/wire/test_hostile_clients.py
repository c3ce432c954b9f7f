"""Clients that mean no good, or are broken: each gets what it deserves, the station lives, and others are served."""

import asyncio
import random
import socket
from typing import Any

import pytest
from fake_plant import FakePlant
from peer import on_station, tcp

from simulators.station import Station
from simulators.wire.tcp import MOST_WAITING

GOOD = tcp("01 0000 0018")
ANSWER = tcp("01 03 000000")


async def served(station: Station) -> bool:
    """Whether somebody who asks properly has an answer."""
    reader, writer = await asyncio.open_connection(*station.addresses["modbus"])  # type: ignore[misc]
    writer.write(GOOD)
    try:
        return await asyncio.wait_for(reader.readexactly(len(ANSWER)), 20.0) == ANSWER
    finally:
        writer.close()


async def said(station: Station, link: str, data: bytes, waits: float = 0.15) -> bytes | None:
    """What comes back; None when the connection is thrown out."""
    reader, writer = await asyncio.open_connection(*station.addresses[link])  # type: ignore[misc]
    writer.write(data)
    try:
        return await asyncio.wait_for(reader.read(4096), waits) or None
    except TimeoutError:
        return b""
    except ConnectionError:
        return None
    finally:
        writer.close()


@pytest.mark.parametrize(
    ("link", "data", "back"),
    [
        ("modbus", b"GET / HTTP/1.1\r\n\r\n", None),  # protocol number and length are nonsense
        ("modbus", bytes(300), None),
        ("modbus", bytes.fromhex("0001 0000 FFFF 01 03"), None),  # longer than any frame
        ("modbus", bytes.fromhex("0001 0000 0001 01"), None),  # no function code
        ("modbus", GOOD[:7], b""),  # half a frame is waited for
        ("modbus", tcp("01 0000 0018", device=99), b""),  # nobody has this number
        ("modbus", tcp("0F 0000 0018 03 FFFFFF", device=0), b""),  # on TCP no number means all
        ("meter", b"x" * 70_000, None),
        ("meter", b"*IDN?", b""),
        ("scale", b"\0\xff\n", b"?\n"),
        ("person", b"[" * 5000 + b"\n", b'{"error": "a request is one JSON object on a line"}\n'),
        ("control", b"[" * 5000 + b"\n", b'{"error": "a request is one JSON object on a line"}\n'),
        ("control", b"\xff\n", b'{"error": "a request is one JSON object on a line"}\n'),
    ],
)
def test_nonsense_is_answered_or_thrown_out_and_others_are_served(link: str, data: bytes, back: bytes | None) -> None:
    async def work(station: Station, plant: FakePlant) -> None:
        assert await said(station, link, data) == back
        assert await served(station)
        assert not any(plant.boards[1])

    on_station(work, lockstep=False)


def test_four_hundred_connections_at_once() -> None:
    async def work(station: Station, plant: FakePlant) -> None:
        host, port = station.addresses["modbus"]  # type: ignore[misc]
        crowd = []
        for _ in range(400):
            one = socket.socket()
            one.setblocking(False)
            await asyncio.get_running_loop().sock_connect(one, (host, port))
            crowd.append(one)
        assert await served(station)
        for one in crowd:
            one.close()
        assert await served(station)

    on_station(work, lockstep=False)


def test_who_floods_it_waits_and_others_do_not() -> None:
    """Ten thousand requests from somebody who reads no answer are not taken in at once."""

    async def work(station: Station, plant: FakePlant) -> None:
        _, writer = await asyncio.open_connection(*station.addresses["modbus"])  # type: ignore[misc]
        writer.write(GOOD * 100_000)
        for _ in range(10):
            await asyncio.sleep(0.01)
        listener: Any = station._listeners["modbus"]
        (flood,) = listener.connections
        assert flood._waiting.qsize() < 30_000
        assert flood._waiting.qsize() > MOST_WAITING
        assert not flood._transport.is_reading()
        assert await served(station)
        writer.transport.abort()

    on_station(work, lockstep=False)


def test_a_frame_that_drips_in_is_a_frame() -> None:
    async def work(station: Station, plant: FakePlant) -> None:
        reader, writer = await asyncio.open_connection(*station.addresses["modbus"])  # type: ignore[misc]
        for byte in GOOD:
            writer.write(bytes([byte]))
            await asyncio.sleep(0.001)
            assert await served(station) or byte
        assert await asyncio.wait_for(reader.readexactly(len(ANSWER)), 20.0) == ANSWER
        writer.close()

    on_station(work, lockstep=False)


WORDS = [
    b"*IDN?", b"CONF:", b"VOLT", b"READ?", b"FETC?", b":", b";", b",", b" ", b"1e999", b"nan", b"-", b"1", b"MEAS",
    b"?", b"SENS:SWE:POIN ", b"9" * 20, b"*ESE ", b"DEF", b"W", b"T", b"\xff", b"\0", b"\r", b'"', b"#", b"(", b"{",
    b"}", b"[", b"null", b'"verb"', b'"thing"', b'{"verb":"look","thing":"lid","kind":"yes-no","options":[],"unit":""}',
    b'{"fault":"x","severity":1e999}', b'{"wire":"late","on":"relays-1","seconds":-1}', b'{"clear":{}}', b"0" * 5000,
]  # fmt: skip


@pytest.mark.parametrize("link", ["modbus", "meter", "scale", "person", "control"])
def test_no_request_is_too_odd_for_a_far_end(link: str) -> None:
    """3,000 requests at random: an answer, or silence; never an error of the program's own."""
    chance = random.Random(11)

    def odd_pdu() -> bytes:
        function = chance.choice([1, 2, 3, 4, 5, 6, 15, 16, chance.randrange(256)])
        return bytes(
            [function, *(chance.choice([0, 0, 1, 255, chance.randrange(256)]) for _ in range(chance.randrange(40)))]
        )

    async def work(station: Station, plant: FakePlant) -> None:
        far_end = station._listeners[link].link.far_end
        for _ in range(3000):
            if link == "modbus":
                pdu = odd_pdu()
                request = tcp(pdu.hex(), device=chance.randrange(8))
            else:
                request = b"".join(chance.choice(WORDS) for _ in range(chance.randrange(8)))
            far_end.question(request)
            answer = far_end.serve(request, 0.0).data
            if link == "modbus" and answer is not None:
                assert answer[:6] == request[:4] + (len(answer) - 6).to_bytes(2, "big")
                assert answer[7] in (pdu[0], pdu[0] | 0x80)
                assert len(answer) <= 260
            elif answer is not None:
                assert answer.endswith(b"\n")
                assert answer.count(b"\n") == 1

    on_station(work)
