"""Devices that fail by themselves: what the wire shows of it, and what is true at the plant."""

import asyncio
from pathlib import Path
from typing import Any

import pytest
from fake_plant import FakePlant
from peer import Peer, on_station, tcp

from simulators.names import NotPossible, UnknownName
from simulators.station import Station, start
from simulators.wire.misbehaviour import FAMILIES


def bits(said: bytes) -> list[int]:
    """Channels that an answer says are on."""
    return [k for k in range(8 * said[8]) if said[9 + k // 8] >> k % 8 & 1]


class Bench:
    """What a test does on a station over Modbus TCP."""

    def __init__(self, station: Station, peer: Peer) -> None:
        self.station, self.peer = station, peer

    async def write(self, channel: int, on: bool, device: int = 1) -> bytes:
        return (await self.peer.ask(tcp(f"05 {channel:04x} {'FF00' if on else '0000'}", device))).data

    async def coils(self, device: int = 1) -> list[int]:
        return bits((await self.peer.ask(tcp("01 0000 0018", device))).data)

    async def inputs(self) -> list[int]:
        return bits((await self.peer.ask(tcp("02 0000 0018", 2))).data)

    async def counts(self, channel: int) -> int:
        return int.from_bytes((await self.peer.ask(tcp(f"04 {channel:04x} 0001", 3))).data[9:11], "big")

    async def sleep(self, seconds: float) -> None:
        assert self.station.clock is not None
        await self.station.clock.sleep(seconds)


def on_bench(work: Any, real: bool = False) -> None:
    """Run on a station around the fake plant, or around the simulated unit in its fixture."""

    async def run(station: Station, plant: Any) -> None:
        peer = await Peer(station, "modbus").open()
        await work(Bench(station, peer), plant)
        peer.close()

    async def on_unit() -> None:
        station = await start(seed=1)
        try:
            await run(station, station.plant)
        finally:
            await station.close()

    if real:
        asyncio.run(on_unit())
    else:
        on_station(run)


def test_a_reboot_drops_the_relays_says_so_and_takes_its_time() -> None:
    async def work(bench: Bench, plant: FakePlant) -> None:
        await bench.write(3, True)
        bench.station.misbehave("reboot", "relays-1", seconds=2.0)
        assert not any(plant.boards[1])
        assert (await bench.peer.ask(tcp("01 0000 0018"))).how == "silence"
        assert (await bench.peer.ask(tcp("05 0005 FF00"))).how == "silence"
        assert not plant.boards[1][5]
        assert await bench.inputs() == []  # another module on the same bus lives on
        await bench.sleep(1.0)
        assert await bench.coils() == []
        assert bench.station.state()["wire"] == [], "it has taken itself out"
        await bench.write(3, True)
        assert await bench.coils() == [3]

    on_bench(work)


def test_a_reboot_that_nobody_is_told_of() -> None:
    async def work(bench: Bench, plant: FakePlant) -> None:
        await bench.write(3, True)
        await bench.write(4, True)
        bench.station.misbehave("reboot-unsaid", "relays-1")
        assert not any(plant.boards[1])
        assert await bench.coils() == [3, 4]
        await bench.write(3, False)
        assert await bench.coils() == [4]
        bench.station.behave()
        assert await bench.coils() == []

    on_bench(work)


def test_a_meter_that_reboots_forgets_its_range_and_its_errors_and_drops_its_connection() -> None:
    async def work(station: Station, plant: FakePlant) -> None:
        meter = await Peer(station, "meter").open()
        await meter.ask(b"CONF:VOLT 10;:SWE:POIN 5;:FOO;*ESR?\n")
        station.misbehave("reboot", "meter-1", seconds=3.0)
        assert (await meter.ask(b"*OPC?\n")).how == "cut"
        meter = await Peer(station, "meter").open()
        assert (await meter.ask(b"*OPC?\n")).how == "silence"
        assert (await meter.ask(b"CONF?;*ESR?;SYST:ERR?;:SWE:POIN?\n")).data == b'"VOLT AUTO";128;0,"No error";1\n'
        meter.close()

    on_station(work)


def test_a_scale_and_a_power_meter_that_reboot() -> None:
    async def work(station: Station, plant: FakePlant) -> None:
        assert station.clock is not None
        plant.values[8], plant.at_socket = 100.0, (230.0, 10.0, 50.0)
        scale, modbus = await Peer(station, "scale").open(), await Peer(station, "modbus").open()
        await scale.ask(b"T\n")
        await station.clock.sleep(60.0)
        energy = tcp("04 0006 0002", 5)
        assert (await modbus.ask(energy)).data[9:] != bytes(4)
        for name in ("scale-1", "power-1"):
            station.misbehave("reboot", name, seconds=0.0)
        assert (await modbus.ask(energy)).data[9:] == bytes(4)
        scale = await Peer(station, "scale").open()
        assert float((await scale.ask(b"W\n")).data[2:11]) == pytest.approx(100.0, abs=0.6)
        scale.close()
        modbus.close()

    on_station(work)


# What a failed relay 0 (mains) tells, told on and told off again: coil as read back, mirror contact (input 0), and
# whether the unit really has power. The first line is a sound one.
CONTACTS = [
    ("", (True, True, True), (False, False, False)),
    ("relay-stuck-on", (True, True, True), (True, True, True)),
    ("relay-stuck-off", (True, False, False), (False, False, False)),
    ("welded-says-off", (False, False, True), (False, False, True)),
    ("welded-says-on", (True, True, True), (False, True, True)),
    ("burnt-says-on", (True, True, False), (False, True, False)),
    ("mirror-stuck-on", (True, True, True), (False, True, False)),
    ("mirror-stuck-off", (True, False, True), (False, False, False)),
]


@pytest.mark.parametrize(("kind", "on", "off"), CONTACTS)
def test_what_a_failed_relay_tells_and_what_is_true(kind: str, on: Any, off: Any) -> None:
    async def work(bench: Bench, plant: Any) -> None:
        async def told(state: bool) -> tuple[bool, bool, bool]:
            await bench.write(0, state)
            await bench.sleep(0.2)
            return 0 in await bench.coils(), 0 in await bench.inputs(), plant.unit.joined.mains

        await told(True)
        await told(False)
        if kind:
            bench.station.misbehave(kind, "relays-1", channel=0)
        assert await told(True) == on
        assert await told(False) == off
        state = bench.station.state()
        assert ("mains" in state["energized"]) is off[2]
        assert ("mains with the lid open" in state["abuses"]) is True
        assert bench.station.behave() == (1 if kind else 0)
        assert await told(False) == (False, False, False)
        assert await told(True) == (True, True, True)

    on_bench(work, real=True)


def test_the_emergency_stop_opens_even_a_welded_contact() -> None:
    """Its chain has contactors of its own."""

    async def work(bench: Bench, plant: Any) -> None:
        bench.station.misbehave("welded-says-off", "relays-1", channel=0)
        assert plant.contacts(1)[0]
        plant.fixture.stop(True)
        assert not plant.contacts(1)[0]

    on_bench(work, real=True)


def test_a_welded_selector_joins_a_second_test_point() -> None:
    async def work(bench: Bench, plant: Any) -> None:
        await bench.write(15, True)
        await bench.write(18, True, 4)
        await bench.sleep(0.2)
        bench.station.state()
        alone = plant.meter_sees("ohms-4w")
        assert alone == pytest.approx(100.0, abs=0.2)
        bench.station.misbehave("welded-says-off", "relays-2", channel=17)  # the shorting link
        assert plant.meter_sees("ohms-4w") < 0.01
        assert await bench.coils(4) == [18]

    on_bench(work, real=True)


def test_writes_that_are_not_done_or_land_elsewhere() -> None:
    async def work(bench: Bench, plant: FakePlant) -> None:
        station = bench.station
        station.misbehave("deaf", "relays-1", times=2)
        assert await bench.coils() == []  # a reading is not counted
        assert await bench.write(3, True) == tcp("05 0003 FF00")
        assert (await bench.peer.ask(tcp("0F 0000 0008 01 FF"))).data == tcp("0F 0000 0008")
        assert not any(plant.boards[1])
        await bench.write(3, True)
        assert await bench.coils() == [3]
        station.misbehave("next-channel", "relays-1", times=2)
        assert await bench.write(6, True) == tcp("05 0006 FF00")
        await bench.write(23, True)
        assert await bench.coils() == [0, 3, 7]

    on_bench(work)


def test_a_read_back_that_lags() -> None:
    async def work(bench: Bench, plant: FakePlant) -> None:
        await bench.write(1, True)
        bench.station.misbehave("read-back-lags", "relays-1", seconds=0.05)
        assert await bench.coils() == [1]
        await bench.write(3, True)
        assert plant.boards[1][3]
        assert await bench.coils() == [1]
        await bench.sleep(0.05)
        assert await bench.coils() == [1, 3]
        await bench.write(3, False)
        await bench.write(1, False)
        assert await bench.coils() == [1, 3]
        await bench.sleep(0.06)
        assert await bench.coils() == []

    on_bench(work)


def test_inputs_that_stick_chatter_freeze_or_are_inverted() -> None:
    async def work(bench: Bench, plant: FakePlant) -> None:
        station = bench.station
        plant.inputs_closed[5] = plant.inputs_closed[9] = True

        async def with_fault(kind: str, looks: int = 1, **parameters: int) -> list[list[int]]:
            station.misbehave(kind, "inputs-1", times=looks, **parameters)
            return [await bench.inputs() for _ in range(looks)]

        assert await with_fault("input-stuck-open", channel=5) == [[9]]
        assert await with_fault("input-stuck-closed", channel=7) == [[5, 7, 9]]
        assert await with_fault("input-chatters", 4, channel=9) == [[5], [5, 9], [5], [5, 9]]
        assert await with_fault("inputs-inverted") == [[k for k in range(24) if k not in (5, 9)]]
        station.misbehave("frozen", "inputs-1", channel=5)
        await bench.inputs()
        plant.inputs_closed[5], plant.inputs_closed[9] = False, False
        assert await bench.inputs() == [5]
        station.behave(on="inputs-1")
        assert await bench.inputs() == []

    on_bench(work)


def test_analog_values_that_freeze_stick_or_spike() -> None:
    async def work(bench: Bench, plant: FakePlant) -> None:
        station = bench.station
        plant.values.update({0: 50.0, 6: 5.0})
        honest = await bench.counts(0)
        assert honest == pytest.approx(5000, abs=30)
        station.misbehave("frozen", "analog-1", times=6)
        first = await bench.counts(0)
        plant.values[0] = 90.0
        assert [await bench.counts(0) for _ in range(4)] == [first] * 4
        assert await bench.counts(6) == pytest.approx(5000, abs=30), "what was not asked has not been frozen at nothing"
        assert await bench.counts(0) == pytest.approx(9000, abs=30)
        station.misbehave("analog-stuck-low", "analog-1", times=1, channel=0)
        assert await bench.counts(0) == 0
        station.misbehave("analog-stuck-high", "analog-1", times=2, channel=0)
        assert [await bench.counts(6), await bench.counts(0)] == [pytest.approx(5000, abs=30), 0x7FFF]
        station.misbehave("analog-spikes", "analog-1", times=10, channel=0, value=700)
        looks = [await bench.counts(0) for _ in range(10)]
        assert [k for k, counts in enumerate(looks) if counts > 9400] == [4, 9]

    on_bench(work)


@pytest.mark.parametrize(
    ("kind", "on", "parameters", "error", "says"),
    [
        ("relay-stuck-of", "relays-1", {}, UnknownName, "did you mean relay-stuck-off"),
        ("silence", "relays-3", {}, UnknownName, "relays-1"),
        ("deaf", "inputs-1", {}, NotPossible, "relays"),
        ("overflow", "relays-1", {}, NotPossible, "meter"),
        ("exception-2", "meter-1", {}, NotPossible, "analog"),
        ("late", "meter-1", {"second": 1.0}, UnknownName, "did you mean seconds"),
        ("silence", "meter-1", {"seconds": 1.0}, UnknownName, "parameter"),
        ("late", "meter-1", {"seconds": -1.0}, ValueError, "0 to 3600"),
        ("late", "meter-1", {"seconds": float("nan")}, ValueError, "0 to 3600"),
        ("late", "meter-1", {"seconds": "1"}, ValueError, "0 to 3600"),
        ("relay-stuck-on", "relays-1", {"channel": 24}, ValueError, "0 to 23"),
        ("relay-stuck-on", "relays-1", {"channel": True}, ValueError, "whole number"),
        ("relay-stuck-on", "relays-1", {"channel": 1.5}, ValueError, "whole number"),
        ("analog-stuck-low", "analog-1", {"channel": 12}, ValueError, "0 to 11"),
        ("wrong-serial", "meter-1", {"serial": "a\nb"}, ValueError, "plain text"),
        ("silence", "meter-1", {"times": 0}, ValueError, "times"),
        ("silence", "meter-1", {"times": 1.0}, ValueError, "times"),
        ("reboot", "relays-1", {"times": 2}, ValueError, "no exchanges to count"),
    ],
)
def test_what_cannot_be_put_in_is_said_and_leaves_nothing(
    kind: str, on: str, parameters: dict[str, Any], error: type[Exception], says: str
) -> None:
    async def work(bench: Bench, plant: FakePlant) -> None:
        with pytest.raises(error, match=says):
            bench.station.misbehave(kind, on, **parameters)
        assert bench.station.state()["wire"] == []
        assert plant.held == {}
        assert await bench.coils() == []

    on_bench(work)


def test_this_file_has_every_fault_of_its_family() -> None:
    text = Path(__file__).read_text(encoding="utf-8")
    for kind in FAMILIES["devices"]:
        assert f'"{kind.name}"' in text
