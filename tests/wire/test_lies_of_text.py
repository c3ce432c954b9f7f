"""Lines that are no number, not quite one, or more than one: the bytes that come instead of a reading."""

from pathlib import Path

import pytest
from fake_plant import FakePlant
from peer import Heard, Peer, on_station

from simulators.names import NotPossible
from simulators.station import Station
from simulators.wire.misbehaviour import FAMILIES

NUMBER = b"2.50000000E+00"  # stands for the reading in the expectations


def reading(kind: str, wiring: str = "tcp", volts: float = 2.5) -> tuple[Heard, bytes, Heard]:
    """A misbehaved reading, the meter's honest last one before it, and what comes for the next question."""
    seen: list[tuple[Heard, bytes, Heard]] = []

    async def work(station: Station, plant: FakePlant) -> None:
        plant.terminals["volts-dc"] = volts
        peer = await Peer(station, "meter").open()
        await peer.ask(b"CONF:VOLT 10;:SYST:ERR?\n")
        honest = (await peer.ask(b"READ?\n")).data
        station.misbehave(kind, "meter-1", times=1)
        assert (await peer.ask(b"SYST:ERR?\n")).data == b'0,"No error"\n'  # no reading: neither bent nor counted
        heard = await peer.ask(b"READ?\n")
        seen.append((heard, honest, await peer.ask(b"*OPC?\n")))
        peer.close()

    on_station(work, wiring=wiring)
    return seen[0]


@pytest.mark.parametrize("wiring", ["tcp", "serial"])
@pytest.mark.parametrize(
    ("kind", "line"),
    [
        ("overflow", b"9.90000000E+37\n"),
        ("overflow-negative", b"-9.90000000E+37\n"),
        ("not-a-number", b"9.91000000E+37\n"),
        ("nan-text", b"NAN\n"),
        ("inf-text", b"INF\n"),
        ("empty-line", b"\n"),
        ("error-text", b'-230,"Data corrupt or stale"\n'),
        ("hexadecimal", b"0x1F\n"),
        ("huge-number", b"1.0E+400\n"),
        ("underscore", b"1_000\n"),
    ],
)
def test_words_instead_of_the_number(wiring: str, kind: str, line: bytes) -> None:
    heard, _, after = reading(kind, wiring)
    assert (heard.data, heard.how) == (line, "answered")
    assert after.data == b"1\n"


@pytest.mark.parametrize("wiring", ["tcp", "serial"])
@pytest.mark.parametrize(
    ("kind", "before", "behind"),
    [
        ("prompt", b"SCPI> ", b"\n"),
        ("unit-behind", b"", b" VDC\n"),
        ("trailing-junk", b"", b"~#x\n"),
        ("non-ascii", b"\xb0\xff", b"\n"),
        ("two-numbers", b"", b",1.00000000E+00\n"),
        ("crlf", b"", b"\r\n"),
        ("extra-line", b"\n", b"\n"),
    ],
)
def test_something_around_the_number(wiring: str, kind: str, before: bytes, behind: bytes) -> None:
    heard, _, after = reading(kind, wiring)
    assert heard.how == "answered"
    assert heard.data.startswith(before)
    assert heard.data.endswith(behind)
    number = heard.data[len(before) : len(heard.data) - len(behind)]
    assert float(number) == pytest.approx(2.5, abs=1e-3)
    assert len(number) == len(NUMBER)
    assert after.data == b"1\n"


def test_numbers_that_are_not_what_was_measured() -> None:
    comma = reading("decimal-comma")[0].data
    assert b"." not in comma
    assert float(comma.replace(b",", b".")) == pytest.approx(2.5, abs=1e-3)
    assert float(reading("sign-lost")[0].data) == pytest.approx(-2.5, abs=1e-3)
    lost = reading("sign-lost", volts=-2.5)[0].data
    assert float(lost) == pytest.approx(2.5, abs=1e-3)
    cut = reading("number-cut", volts=0.025)[0].data  # 2.5E-02, of which the power of ten is lost
    assert float(cut) == pytest.approx(2.5, abs=0.02)
    assert reading("number-cut-at-exponent")[0].data.endswith(b"E\n")


@pytest.mark.parametrize(("kind", "end"), [("no-terminator", b""), ("cr-only", b"\r")])
def test_a_line_that_does_not_end_is_in_front_of_the_next(kind: str, end: bytes) -> None:
    heard, _, after = reading(kind)
    assert (heard.how, heard.seconds) == ("silence", 5.0)
    assert len(heard.data) == len(NUMBER + end)
    assert heard.data.endswith(end)
    assert after.data == b"1\n"  # a reader that keeps what it has puts the two together


def test_a_line_without_sense_or_end() -> None:
    heard, _, _ = reading("endless-line")
    assert heard.how == "silence"
    assert set(heard.data) == {ord("0")}
    assert len(heard.data) > 1000


def test_every_reading_is_the_first_again() -> None:
    async def work(station: Station, plant: FakePlant) -> None:
        peer = await Peer(station, "meter").open()
        await peer.ask(b"CONF:VOLT 10;:SYST:ERR?\n")
        station.misbehave("frozen-reading", "meter-1", times=3)
        seen = set()
        for volts in (1.0, 2.0, 3.0):
            plant.terminals["volts-dc"] = volts
            seen.add((await peer.ask(b"READ?\n")).data)
        assert len(seen) == 1
        assert float((await peer.ask(b"READ?\n")).data) == pytest.approx(3.0, abs=1e-3)
        peer.close()

    on_station(work)


def test_one_value_in_the_middle_of_a_record_is_hit() -> None:
    async def work(station: Station, plant: FakePlant) -> None:
        peer = await Peer(station, "meter").open()
        await peer.ask(b"CONF:VOLT 0.1;:SWE:POIN 101;TINT 1E-3;:INIT;:SYST:ERR?\n")
        station.misbehave("overflow", "meter-1", times=1, only="FETC")
        words = (await peer.ask(b"FETC?\n")).data.decode().split(",")
        assert len(words) == 101
        assert [k for k, word in enumerate(words) if float(word) > 1.0] == [50]
        peer.close()

    on_station(work)


def test_identities_and_errors() -> None:
    async def work(station: Station, plant: FakePlant) -> None:
        peer = await Peer(station, "meter").open()
        station.misbehave("wrong-serial", "meter-1", times=1)
        assert (await peer.ask(b"*IDN?\n")).data == b"Low Mill Bench Works,SIM-METER,SIM-X9,1\n"
        station.misbehave("wrong-serial", "meter-1", times=1, serial="SIM-M2")
        assert (await peer.ask(b"*IDN?\n")).data == b"Low Mill Bench Works,SIM-METER,SIM-M2,1\n"
        station.misbehave("identity-short", "meter-1", times=1)
        assert (await peer.ask(b"*IDN?\n")).data == b"Low Mill Bench Works,SIM-METER,SIM-M1\n"
        station.misbehave("errors-for-ever", "meter-1", times=2)
        for line in (b"SYST:ERR?\n", b"CONF:VOLT 10;:SYST:ERR?\n"):
            assert (await peer.ask(line)).data == b'-350,"Queue overflow"\n'
        assert (await peer.ask(b"SYST:ERR?\n")).data == b'0,"No error"\n'
        peer.close()

    on_station(work)


@pytest.mark.parametrize(
    ("only", "line", "hit"),
    [
        ("READ", b"READ?\n", True),
        ("READ?", b"read?\n", True),
        (":READ?", b":READ?\n", True),
        ("MEAS", b"MEAS:VOLT? 10\n", True),
        ("MEAS:VOLT", b"MEAS:VOLT? 10\n", True),
        ("MEAS:VOLT", b"MEAS:VOLT:AC? 10\n", True),
        ("MEAS:VOLT:AC?", b"MEAS:VOLT? 10\n", False),
        ("FETC", b"READ?\n", False),
        ("REA", b"READ?\n", False),
    ],
)
def test_only_one_header(only: str, line: bytes, hit: bool) -> None:
    async def work(station: Station, plant: FakePlant) -> None:
        peer = await Peer(station, "meter").open()
        station.misbehave("nan-text", "meter-1", times=1, only=only)
        assert ((await peer.ask(line)).data == b"NAN\n") is hit
        peer.close()

    on_station(work)


def test_the_scale_tells_its_weight_in_the_same_ways() -> None:
    async def work(station: Station, plant: FakePlant) -> None:
        plant.values[8] = 123.4
        peer = await Peer(station, "scale").open()
        station.misbehave("nan-text", "scale-1", times=1)
        assert (await peer.ask(b"W\n")).data == b"S    NAN g\n"
        assert float((await peer.ask(b"W\n")).data[2:11]) == pytest.approx(123.4, abs=0.6)
        station.misbehave("decimal-comma", "scale-1", times=1)
        assert b"," in (await peer.ask(b"W\n")).data
        with pytest.raises(NotPossible, match="meter"):
            station.misbehave("overflow", "scale-1")
        peer.close()

    on_station(work)


def test_this_file_has_every_fault_of_its_family() -> None:
    text = Path(__file__).read_text(encoding="utf-8")
    for kind in FAMILIES["lines of text"]:
        assert f'"{kind.name}"' in text
