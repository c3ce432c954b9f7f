"""Modbus frames that lie, byte for byte, over TCP and over a serial line; and what pymodbus makes of some."""

import asyncio
from pathlib import Path

import pytest
from fake_plant import FakePlant
from peer import Peer, on_station, rtu, tcp
from pymodbus.client import AsyncModbusTcpClient

from simulators.names import NotPossible
from simulators.station import Station
from simulators.wire.misbehaviour import FAMILIES
from simulators.wire.misbehaviour.frames import EXCEPTIONS

COILS, COILS_SAID = "01 0000 0018", "01 03 05 00 00"
SWITCH = "05 0003 FF00"


def frame(wiring: str, pdu: str, device: int = 1) -> bytes:
    return tcp(pdu, device) if wiring == "tcp" else rtu(pdu, device)


def one(
    wiring: str, kind: str, ask: str = COILS, on: str = "relays-1", number: int = 1, **parameters: int
) -> tuple[bytes, str, FakePlant]:
    """What comes for one misbehaved exchange, how it ends, and the plant afterwards."""
    seen: list[tuple[bytes, str, FakePlant]] = []

    async def work(station: Station, plant: FakePlant) -> None:
        plant.boards[1][0] = plant.boards[1][2] = True
        peer = await Peer(station, "modbus").open()
        honest = await peer.ask(frame(wiring, ask, number)) if ask != SWITCH else None
        station.misbehave(kind, on, times=1, **parameters)
        heard = await peer.ask(frame(wiring, ask, number))
        seen.append((heard.data, heard.how, plant))
        if honest is not None and wiring == "serial":
            assert (await peer.ask(frame(wiring, ask, number))).how == "answered"
        peer.close()

    on_station(work, wiring=wiring)
    return seen[0]


both = pytest.mark.parametrize("wiring", ["tcp", "serial"])


def test_numbers_of_the_transaction() -> None:
    assert one("tcp", "wrong-transaction")[0] == tcp(COILS_SAID, transaction=0x1235)
    assert one("tcp", "wrong-transaction", by=7)[0] == tcp(COILS_SAID, transaction=0x123B)
    assert one("tcp", "transaction-zero")[0] == tcp(COILS_SAID, transaction=0)
    assert one("tcp", "wrong-protocol")[0] == tcp(COILS_SAID)[:3] + b"\1" + tcp(COILS_SAID)[4:]


@both
def test_another_device_or_another_function(wiring: str) -> None:
    assert one(wiring, "wrong-device")[0] == frame(wiring, COILS_SAID, 2)
    assert one(wiring, "wrong-device", device=9)[0] == frame(wiring, COILS_SAID, 9)
    assert one(wiring, "wrong-function")[0] == frame(wiring, "02" + COILS_SAID[2:])
    assert one(wiring, "wrong-function", SWITCH)[0] == frame(wiring, "06" + SWITCH[2:])


def differing_bits(one: bytes, other: bytes) -> int:
    assert len(one) == len(other)
    return sum((a ^ b).bit_count() for a, b in zip(one, other, strict=True))


@both
def test_a_flipped_bit(wiring: str) -> None:
    honest = frame(wiring, COILS_SAID)
    data, how, _ = one(wiring, "bit-flip-seen")
    assert differing_bits(data, honest) == 1
    assert how == "silence", "neither CRC nor length let it pass"
    data, how, _ = one(wiring, "bit-flip-unseen")
    assert how == "answered"
    if wiring == "tcp":
        assert differing_bits(data, honest) == 1
        assert data[:9] == honest[:9]
    else:
        assert data == rtu(data[1:-2].hex())
        assert differing_bits(data[:-2], honest[:-2]) == 1


@both
@pytest.mark.parametrize("code", EXCEPTIONS)
def test_refusals(wiring: str, code: int) -> None:
    data, how, plant = one(wiring, f"exception-{code}", SWITCH)
    assert (data, how) == (frame(wiring, f"85 {code:02x}"), "answered")
    assert not plant.boards[1][3]


@both
def test_odd_refusals(wiring: str) -> None:
    assert one(wiring, "exception-odd")[0] == frame(wiring, "81 63")
    assert one(wiring, "exception-odd", code=200)[0] == frame(wiring, "81 c8")
    data, _, plant = one(wiring, "obeys-but-refuses", SWITCH)
    assert data == frame(wiring, "85 04")
    assert plant.boards[1][3]


@both
def test_lengths(wiring: str) -> None:
    assert one(wiring, "too-few")[0] == frame(wiring, "01 02 05 00")
    assert one(wiring, "too-many")[0] == frame(wiring, "01 04 05 00 00 00")
    identity = one(wiring, "too-few", "03 0000 0002")[0]
    assert identity == frame(wiring, "03 02 5349")  # "SI" of the serial number, not "SIM-"
    assert one(wiring, "too-many", "03 0000 0001")[0] == frame(wiring, "03 04 5349 0000")
    assert one(wiring, "byte-count-lies")[0] == frame(wiring, "01 05 05 00 00")


@both
def test_data_that_are_all_alike(wiring: str) -> None:
    assert one(wiring, "all-zero")[0] == frame(wiring, "01 03 00 00 00")
    assert one(wiring, "all-ones")[0] == frame(wiring, "01 03 FF FF FF")
    assert one(wiring, "all-ones", "04 0000 0002", "analog-1", 3)[0] == frame(wiring, "04 04 FFFF FFFF", 3)


@both
def test_another_serial_number(wiring: str) -> None:
    data = one(wiring, "wrong-module", "03 0000 0008")[0]
    assert data == frame(wiring, "0310" + b"SIM-X9          ".hex())
    assert one(wiring, "wrong-module", "03 0002 0001")[0] == frame(wiring, "0302" + b"X9".hex())


@both
def test_a_write_confirmed_for_another_channel(wiring: str) -> None:
    data, how, plant = one(wiring, "wrong-echo", SWITCH)
    assert (data, how) == (frame(wiring, "05 0004 FF00"), "answered")
    assert plant.boards[1][3]
    assert not plant.boards[1][4]


@both
def test_bytes_and_words_in_the_other_order(wiring: str) -> None:
    power = one(wiring, "words-swapped", "04 0008 0002", "power-1", 5)[0]
    assert power == frame(wiring, "04 04 0000 4248", 5)  # 50.0 Hz is 4248 0000
    power = one(wiring, "bytes-swapped", "04 0008 0002", "power-1", 5)[0]
    assert power == frame(wiring, "04 04 4842 0000", 5)


def test_only_one_function_and_only_one_device() -> None:
    async def work(station: Station, plant: FakePlant) -> None:
        peer = await Peer(station, "modbus").open()
        active = station.misbehave("exception-6", "relays-1", times=2, only=5)
        assert (await peer.ask(tcp(COILS))).data == tcp("01 03 00 00 00")
        assert (await peer.ask(tcp(SWITCH, device=4))).data == tcp(SWITCH, device=4)
        assert (await peer.ask(tcp(SWITCH))).data == tcp("85 06")
        assert (await peer.ask(tcp(SWITCH))).data == tcp("85 06")
        assert (await peer.ask(tcp(SWITCH))).data == tcp(SWITCH)
        assert active.hits == 2
        peer.close()

    on_station(work)


def test_two_faults_in_one_exchange_bend_contents_before_times() -> None:
    async def work(station: Station, plant: FakePlant) -> None:
        peer = await Peer(station, "modbus").open()
        station.misbehave("twice", "relays-1", times=1)
        station.misbehave("all-ones", "relays-1", times=1)
        assert (await peer.ask(tcp(COILS))).data == 2 * tcp("01 03 FF FF FF")
        peer.close()

    on_station(work)


def test_what_belongs_to_tcp_cannot_be_on_a_serial_line() -> None:
    async def work(station: Station, plant: FakePlant) -> None:
        for kind in ("wrong-transaction", "transaction-zero", "wrong-protocol"):
            with pytest.raises(NotPossible, match="tcp"):
                station.misbehave(kind, "relays-1")

    on_station(work, wiring="serial")


@pytest.mark.parametrize(
    ("kind", "passes"),
    [("wrong-transaction", False), ("transaction-zero", True), ("wrong-device", False), ("wrong-protocol", False)],
)
def test_what_pymodbus_lets_pass(kind: str, passes: bool) -> None:
    """Transaction number 0 is taken unchecked by pymodbus 3.16 (its tracker, #2831): the driver has to know."""

    async def work(station: Station, plant: FakePlant) -> None:
        assert station.clock is not None
        plant.boards[1][1] = True
        host, port = station.addresses["modbus"]
        client = AsyncModbusTcpClient(host, port=port, timeout=20, retries=0, reconnect_delay=10)
        assert await client.connect()
        station.misbehave(kind, "relays-1", times=1)
        began = asyncio.get_running_loop().time()
        try:
            read = await station.clock.exchange("modbus", lambda: client.read_coils(0, count=8, device_id=1), 0.6)
            assert read.bits[1]
            assert passes
        except TimeoutError:
            assert not passes
            assert station.clock.now() == 0.6
        assert asyncio.get_running_loop().time() - began < 5.0
        client.close()

    on_station(work)


def test_this_file_has_every_fault_of_its_family() -> None:
    text = Path(__file__).read_text(encoding="utf-8")
    for kind in FAMILIES["Modbus frames"]:
        assert f'"{kind.name}"' in text or kind.name in {f"exception-{code}" for code in EXCEPTIONS}
