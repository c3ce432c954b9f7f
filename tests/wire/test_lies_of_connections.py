"""Connections that are refused, cut, half open or not wanted, over real sockets."""

import asyncio
from pathlib import Path

import pytest
from fake_plant import FakePlant
from peer import Peer, on_station, tcp
from pymodbus.client import AsyncModbusTcpClient

from simulators.names import NotPossible
from simulators.station import Station
from simulators.wire.misbehaviour import FAMILIES

READ, SAYS = tcp("01 0000 0008"), tcp("01 01 00")
SWITCH, SWITCHED = tcp("05 0003 FF00"), tcp("05 0003 FF00")


async def comes_in(station: Station, link: str = "modbus") -> str:
    """What happens to who connects now and asks."""
    try:
        peer = await Peer(station, link).open()
    except ConnectionRefusedError:
        return "refused"
    heard = await peer.ask(READ if link == "modbus" else b"*IDN?\n")
    peer.close()
    return heard.how


@pytest.mark.parametrize("on", ["relays-1", "inputs-1", "power-1"])
def test_refused_hits_all_modules_of_the_gateway_until_it_is_taken_out(on: str) -> None:
    async def work(station: Station, plant: FakePlant) -> None:
        peer = await Peer(station, "modbus").open()
        await peer.ask(READ)
        station.misbehave("refused", on)
        assert (await peer.ask(READ)).how == "cut"
        assert await comes_in(station) == "refused"
        assert await comes_in(station, "meter") == "answered"
        assert station.behave("refused") == 1
        assert await comes_in(station) == "answered"
        peer.close()

    on_station(work)


def test_a_listener_that_is_to_be_counted_is_refused() -> None:
    async def work(station: Station, plant: FakePlant) -> None:
        for kind in ("refused", "dropped-at-the-door", "one-at-a-time"):
            with pytest.raises(ValueError, match="no exchanges to count"):
                station.misbehave(kind, "meter-1", times=3)
        assert await comes_in(station) == await comes_in(station, "meter") == "answered"

    on_station(work)


def test_dropped_at_the_door() -> None:
    async def work(station: Station, plant: FakePlant) -> None:
        inside = await Peer(station, "meter").open()
        await inside.ask(b"*IDN?\n")
        station.misbehave("dropped-at-the-door", "meter-1")
        assert (await inside.ask(b"*IDN?\n")).how == "cut"
        peer = await Peer(station, "meter").open()  # it opens
        assert (await peer.ask(b"*IDN?\n")).how == "cut"
        assert station.exchanges["meter"] == 1
        station.behave()
        assert await comes_in(station, "meter") == "answered"

    on_station(work)


def test_one_at_a_time() -> None:
    async def work(station: Station, plant: FakePlant) -> None:
        first = await Peer(station, "modbus").open()
        await first.ask(READ)
        station.misbehave("one-at-a-time", "relays-1")
        assert await comes_in(station) == "cut"
        assert (await first.ask(READ)).data == SAYS
        first.close()
        await asyncio.sleep(0.002)
        assert await comes_in(station) == "answered"

    on_station(work)


def test_half_open_swallows_everything_on_the_link() -> None:
    async def work(station: Station, plant: FakePlant) -> None:
        peer = await Peer(station, "modbus").open()
        station.misbehave("half-open", "inputs-1", times=3)
        assert (await peer.ask(SWITCH)).how == "silence"
        assert await comes_in(station) == "silence"
        assert not plant.boards[1][3]
        assert (await peer.ask(READ)).how == "silence"
        assert (await peer.ask(READ)).data == SAYS
        peer.close()

    on_station(work)


@pytest.mark.parametrize(
    ("kind", "data", "how", "acted"),
    [
        ("reset", b"", "cut", False),
        ("reset-after-acting", b"", "cut", True),
        ("reset-in-mid-answer", SWITCHED[:6], "cut", True),
        ("hang-up", b"", "cut", False),
        ("hang-up-after", SWITCHED, "answered", True),
    ],
)
def test_how_a_connection_ends(kind: str, data: bytes, how: str, acted: bool) -> None:
    async def work(station: Station, plant: FakePlant) -> None:
        peer = await Peer(station, "modbus").open()
        station.misbehave(kind, "relays-1", times=1)
        heard = await peer.ask(SWITCH)
        assert heard.how == how
        assert heard.data == data or (kind == "reset-in-mid-answer" and heard.data == b"")  # a reset may outrun bytes
        assert heard.seconds < 0.01, "the asker knows at once"
        assert plant.boards[1][3] is acted
        await asyncio.sleep(0.002)
        assert peer.cut
        assert await comes_in(station) == "answered"

    on_station(work)


@pytest.mark.parametrize(("kind", "error"), [("reset", ConnectionResetError), ("hang-up", type(None))])
def test_a_reset_is_a_reset_and_a_close_a_close(kind: str, error: type) -> None:
    async def work(station: Station, plant: FakePlant) -> None:
        seen: list[type] = []

        class Ear(asyncio.Protocol):
            def connection_lost(self, error: Exception | None) -> None:
                seen.append(type(error))

        host, port = station.addresses["modbus"]
        transport, _ = await asyncio.get_running_loop().create_connection(Ear, host, port)
        station.misbehave(kind, "relays-1", times=1)
        transport.write(READ)
        await asyncio.sleep(0.005)
        assert seen == [error]

    on_station(work)


@pytest.mark.parametrize("kind", ["reset", "hang-up", "reset-after-acting"])
def test_pymodbus_would_wait_for_its_own_time_limit_and_the_clock_gives_up_instead(kind: str) -> None:

    async def work(station: Station, plant: FakePlant) -> None:
        assert station.clock is not None
        loop = asyncio.get_running_loop()
        host, port = station.addresses["modbus"]
        client = AsyncModbusTcpClient(host, port=port, timeout=20, retries=0, reconnect_delay=10)
        assert await client.connect()
        station.misbehave(kind, "relays-1", 1)
        began = loop.time()
        with pytest.raises(Exception):  # noqa: B017, PT011 - which one is the library's business
            await station.clock.exchange("modbus", lambda: client.read_coils(0, count=8, device_id=1), 0.6)
        assert loop.time() - began < 5.0, "the library's 20 s were not waited for"
        client.close()

    on_station(work)


def test_a_serial_line_has_no_connections_to_lose() -> None:
    async def work(station: Station, plant: FakePlant) -> None:
        for kind in FAMILIES["connections"]:
            if "serial" not in kind.wires:
                with pytest.raises(NotPossible, match="tcp"):
                    station.misbehave(kind.name, "relays-1")
        with pytest.raises(ValueError, match="cannot be plugged in again"):
            station.open_listener("meter")

    on_station(work, wiring="serial")


def test_this_file_has_every_fault_of_its_family() -> None:
    text = Path(__file__).read_text(encoding="utf-8")
    for kind in FAMILIES["connections"]:
        assert f'"{kind.name}"' in text
