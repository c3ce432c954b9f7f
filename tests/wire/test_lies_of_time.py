"""Faults of when and how often bytes come, over real bytes, on every kind of wire."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from fake_plant import FakePlant
from peer import Heard, Peer, on_station, rtu, tcp

from simulators.station import Station
from simulators.wire.misbehaviour import FAMILIES
from simulators.wire.misbehaviour.timing import NOISE

IDENTITY = b"Low Mill Bench Works,SIM-METER,SIM-M1,1\n"

# wiring, link, instrument, first question and its honest answer, second question and its honest answer. The plant's
# coils 0 and 2 are on; the second question is for four coils only, so that its answer is another one.
WIRES = {
    "modbus-tcp": (
        "tcp", "modbus", "relays-1",
        tcp("01 0000 0018"), tcp("01 03 05 00 00"),
        tcp("01 0000 0004", transaction=0x1235), tcp("01 01 05", transaction=0x1235),
    ),
    "modbus-rtu": (
        "serial", "modbus", "relays-1",
        rtu("01 0000 0018"), rtu("01 03 05 00 00"), rtu("01 0000 0004"), rtu("01 01 05"),
    ),
    "scpi-tcp": ("tcp", "meter", "meter-1", b"*IDN?\n", IDENTITY, b"SYST:ERR?\n", b'0,"No error"\n'),
    "scpi-serial": ("serial", "meter", "meter-1", b"*IDN?\n", IDENTITY, b"SYST:ERR?\n", b'0,"No error"\n'),
    "scale-tcp": ("tcp", "scale", "scale-1", b"I\n", b"SCALE,SIM-S1\n", b"T\n", b"OK\n"),
}  # fmt: skip


class Seen:
    """Two exchanges with the same instrument, the first one misbehaved; and what came between them."""

    def __init__(self, wire: str, kind: str, between: float = 0.0, times: int = 1, **parameters: Any) -> None:
        wiring, self.link, self.instrument, self.ask1, self.say1, self.ask2, self.say2 = WIRES[wire]
        self.first: Heard
        self.between = b""
        self.second: Heard
        self.plant: FakePlant
        self.text = self.link != "modbus"
        self.honest_seconds = 0.0

        async def work(station: Station, plant: FakePlant) -> None:
            self.plant = plant
            plant.boards[1][0] = plant.boards[1][2] = True
            peer = await Peer(station, self.link).open()
            self.honest_seconds = (await peer.ask(self.ask1)).seconds
            active = station.misbehave(kind, self.instrument, times, **parameters)
            self.first = await peer.ask(self.ask1)
            assert station.clock is not None
            if between:
                await station.clock.sleep(between)
                self.between = await peer.take()
            self.second = await peer.ask(self.ask2)
            assert active.hits == times
            assert active.left == 0
            assert station.state()["wire"] == []
            peer.close()

        on_station(work, wiring=wiring)

    @property
    def limit(self) -> float:
        return 5.0 if self.text else 0.6


every_wire = pytest.mark.parametrize("wire", WIRES)


def settled(seen: Seen) -> None:
    """The second question got its answer and nothing else."""
    assert (seen.second.data, seen.second.how) == (seen.say2, "answered")


@every_wire
@pytest.mark.parametrize("kind", ["silence", "answer-lost", "half-open"])
def test_nothing_comes_for_the_whole_of_the_limit(wire: str, kind: str) -> None:
    seen = Seen(wire, kind)
    assert (seen.first.data, seen.first.how) == (b"", "silence")
    assert seen.first.seconds == pytest.approx(seen.limit)
    settled(seen)


@every_wire
def test_late_but_in_time(wire: str) -> None:
    for seconds in (None, 0.25):
        seen = Seen(wire, "late", **({} if seconds is None else {"seconds": seconds}))
        late = seconds or (2.0 if "scpi" in wire else 0.3)
        assert (seen.first.data, seen.first.how) == (seen.say1, "answered")
        assert seen.first.seconds == pytest.approx(seen.honest_seconds + late, abs=0.001)
        settled(seen)


@every_wire
def test_very_late_is_in_front_of_the_next_answer(wire: str) -> None:
    seen = Seen(wire, "very-late")
    assert (seen.first.data, seen.first.how) == (b"", "silence")
    assert seen.first.seconds == pytest.approx(seen.limit)
    assert (seen.second.data, seen.second.how) == (seen.say1 + seen.say2, "answered")


@every_wire
def test_very_late_comes_at_its_time_although_nobody_asks(wire: str) -> None:
    seen = Seen(wire, "very-late", between=8.0, seconds=7.0)
    assert (seen.first.data, seen.first.how, seen.between) == (b"", "silence", seen.say1)
    settled(seen)
    early = Seen(wire, "very-late", between=1.0, seconds=7.0)
    assert early.between == b""


@every_wire
def test_held_back_until_the_next_question(wire: str) -> None:
    for between in (0.0, 3600.0):
        seen = Seen(wire, "held-back", between=between)
        assert (seen.first.data, seen.first.how, seen.between) == (b"", "silence", b"")
        assert seen.second.data == seen.say1 + seen.say2


@every_wire
def test_half_an_answer(wire: str) -> None:
    seen = Seen(wire, "half", between=60.0)
    half = len(seen.say1) // 2
    assert (seen.first.data, seen.first.how, seen.between) == (seen.say1[:half], "silence", b"")
    settled(seen)
    seen = Seen(wire, "half-then-late", between=60.0)
    assert (seen.first.data, seen.first.how, seen.between) == (seen.say1[:half], "silence", b"")
    assert seen.second.data == seen.say1[half:] + seen.say2


@every_wire
def test_a_pause_and_a_drip_cost_their_time_and_nothing_else(wire: str) -> None:
    seen = Seen(wire, "pause", seconds=0.2)
    assert (seen.first.data, seen.first.how) == (seen.say1, "answered")
    assert seen.first.seconds == pytest.approx(seen.honest_seconds + 0.2, abs=0.004)
    settled(seen)
    seen = Seen(wire, "drip", seconds=0.01)
    assert (seen.first.data, seen.first.how) == (seen.say1, "answered")
    assert seen.first.seconds == pytest.approx(seen.honest_seconds + 0.01 * (len(seen.say1) - 1), abs=0.006)
    settled(seen)


@every_wire
def test_a_drip_that_is_too_slow_breaks_off_half_way_and_goes_on(wire: str) -> None:
    seen = Seen(wire, "drip-too-slow", between=3 * (5.0 if wire[0] == "s" else 0.6))
    assert seen.first.how == "silence"
    assert seen.first.seconds == pytest.approx(seen.limit)
    assert 0.3 < len(seen.first.data) / len(seen.say1) < 0.7
    assert seen.first.data + seen.between == seen.say1
    settled(seen)
    seen = Seen(wire, "drip-too-slow")  # asked again at once, while it still drips
    assert len(seen.second.data) > 1
    assert (seen.say1 + seen.say2).startswith(seen.first.data + seen.second.data)


@every_wire
def test_the_same_answer_again(wire: str) -> None:
    seen = Seen(wire, "twice")
    assert (seen.first.data, seen.first.how) == (2 * seen.say1, "answered")
    settled(seen)
    seen = Seen(wire, "twice-later", between=5.0)
    assert (seen.first.data, seen.first.how, seen.between) == (seen.say1, "answered", b"")
    assert seen.second.data == seen.say1 + seen.say2


@every_wire
def test_garbage_before_behind_and_alone(wire: str) -> None:
    seen = Seen(wire, "garbage-before")
    assert seen.first.data == NOISE + seen.say1
    settled(seen)
    seen = Seen(wire, "garbage-behind")
    assert (seen.first.data, seen.first.how) == (seen.say1 + NOISE, "answered")
    settled(seen)
    seen = Seen(wire, "garbage")
    assert (seen.first.data, seen.first.how) == (NOISE, "silence")
    assert seen.first.seconds == pytest.approx(seen.limit)
    settled(seen)


@every_wire
def test_echoes(wire: str) -> None:
    seen = Seen(wire, "echo")
    how = "silence" if wire == "modbus-rtu" else "answered"  # no CRC is right where an answer's would be
    assert (seen.first.data, seen.first.how) == (seen.ask1 + seen.say1, how)
    settled(seen)
    seen = Seen(wire, "echo-of-the-dead")
    assert (seen.first.data, seen.first.how) == (seen.ask1, how)
    settled(seen)


@every_wire
def test_one_behind(wire: str) -> None:
    seen = Seen(wire, "one-behind", times=2)
    assert (seen.first.data, seen.first.how) == (b"", "silence")
    assert (seen.second.data, seen.second.how) == (seen.say1, "answered")


@pytest.mark.parametrize("wiring", ["tcp", "serial"])
def test_the_previous_answer_under_the_number_of_this_question(wiring: str) -> None:
    frame: Callable[..., bytes] = tcp if wiring == "tcp" else lambda pdu, transaction=0: rtu(pdu)

    async def work(station: Station, plant: FakePlant) -> None:
        peer = await Peer(station, "modbus").open()
        station.misbehave("previous-answer", "relays-1", times=2)
        first = await peer.ask(frame("01 0000 0008", transaction=1))
        assert first.data == frame("01 01 00", transaction=1)  # there is none before
        plant.boards[1][3] = True
        await peer.ask(frame("05 0004 FF00", transaction=2))  # neither counted nor stale
        stale = await peer.ask(frame("01 0000 0008", transaction=3))
        assert stale.data == frame("01 01 00", transaction=3)
        assert (await peer.ask(frame("01 0000 0008", transaction=4))).data == frame("01 01 18", transaction=4)
        peer.close()

    on_station(work, wiring=wiring)


def test_the_previous_reading_of_the_meter() -> None:
    async def work(station: Station, plant: FakePlant) -> None:
        peer = await Peer(station, "meter").open()
        await peer.ask(b"CONF:VOLT 10;:SYST:ERR?\n")
        plant.terminals["volts-dc"] = 1.0
        one = (await peer.ask(b"READ?\n")).data
        plant.terminals["volts-dc"] = 2.0
        station.misbehave("previous-answer", "meter-1", times=1)
        assert (await peer.ask(b"READ?\n")).data == one
        assert float((await peer.ask(b"READ?\n")).data) == pytest.approx(2.0, abs=1e-3)
        peer.close()

    on_station(work)


@pytest.mark.parametrize("kind", ["silence", "answer-lost", "very-late", "echo-of-the-dead", "garbage", "half"])
def test_whether_a_relay_is_switched_although_nobody_says_so(kind: str) -> None:
    async def work(station: Station, plant: FakePlant) -> None:
        peer = await Peer(station, "modbus").open()
        station.misbehave(kind, "relays-1", times=1, only=5)
        await peer.ask(tcp("01 0000 0008"))  # another function, unharmed
        await peer.ask(tcp("05 0007 FF00"))
        assert plant.boards[1][7] is (kind in ("answer-lost", "very-late", "half"))
        peer.close()

    on_station(work)


def test_this_file_has_every_fault_of_its_family() -> None:
    text = Path(__file__).read_text(encoding="utf-8")
    for kind in FAMILIES["time and order"]:
        assert f'"{kind.name}"' in text
