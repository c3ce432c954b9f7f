"""Serial lines on pseudo-terminals: framing, silence, several devices on one line, and what characters cost.

Times after Modbus over Serial Line V1.02, 2.5.1.1 (from memory): 11 bits a character, 3.5 characters between
frames, 1.750 ms above 19,200 baud.
"""

import asyncio
import threading
from types import SimpleNamespace
from typing import Any

import pytest
from fake_plant import FakePlant
from peer import Peer, on_station, rtu
from pymodbus.client import AsyncModbusSerialClient

from simulators.clock import LockstepClock
from simulators.station import DEVICE_SECONDS, Station, listener_lines
from simulators.wire import Pace
from simulators.wire.devices import BenchDevices
from simulators.wire.frames import RtuFrames
from simulators.wire.link import Link, SerialAddress
from simulators.wire.meter import IDENTITY
from simulators.wire.modbus import ModbusGateway
from simulators.wire.scpi import LINE_SECONDS
from simulators.wire.serial import SCPI_LINE, Line, SerialListener

pytest.importorskip("serial", reason="serial ports need pyserial")


def path_of(station: Station, link: str) -> str:
    address = station.addresses[link]
    assert isinstance(address, SerialAddress)
    return address.path


def serial_client(path: str) -> AsyncModbusSerialClient:
    return AsyncModbusSerialClient(
        path, baudrate=19200, parity="N", bytesize=8, stopbits=2, timeout=20, retries=0, reconnect_delay=10
    )


def test_lines_of_the_listeners() -> None:
    async def work(station: Station, plant: FakePlant) -> None:
        said = [line.rstrip("0123456789") for line in listener_lines(station)]
        assert said == [
            "modbus rtu /dev/pts/",
            "scpi serial /dev/pts/",
            "scale serial /dev/pts/",
            "person tcp 127.0.0.1:",
            "control tcp 127.0.0.1:",
        ]
        assert [station.addresses[name].kind for name in ("modbus", "person")] == ["serial", "tcp"]
        address = station.addresses["modbus"]
        assert isinstance(address, SerialAddress)
        assert (address.baud, address.character) == (19200, "8N2")

    on_station(work, wiring="serial")
    with pytest.raises(ValueError, match="tcp or serial"):
        asyncio.run(_start(wiring="usb"))


async def _start(**how: Any) -> None:
    from simulators.station import start

    await start(**how)


@pytest.mark.parametrize("baud", [1200, 9600, 19200, 38400, 115200])
@pytest.mark.parametrize(
    ("device", "pdu", "answered"),
    [(2, "02 0000 0018", 8), (1, "01 0000 0018", 8), (3, "04 0000 000C", 29), (1, "05 0003 FF00", 8)],
)
def test_a_poll_costs_what_the_line_takes_and_what_the_device_states(
    baud: int, device: int, pdu: str, answered: int
) -> None:
    """The declared cost is the line's least time and the device's delay, to the last digit."""

    async def work() -> float:
        plant, clock = FakePlant(), LockstepClock()
        gateway = ModbusGateway(
            BenchDevices(plant, 0).tables, plant.advance, frames=RtuFrames(), seconds=DEVICE_SECONDS, jitter=0.0
        )
        listener = SerialListener(Link("modbus", gateway, Pace(clock.now, clock), {}), Line(baud, "8E1", framed=True))
        at: Any = SimpleNamespace(addresses={"modbus": await listener.open()}, clock=clock)
        peer = await Peer(at, "modbus").open()
        heard = await peer.ask(rtu(pdu, device), limit=5.0)
        assert heard.how == "answered"
        assert len(heard.data) == answered
        peer.close()
        await listener.close()
        return heard.seconds

    character = 11 / baud
    gap = 3.5 * character if baud <= 19200 else 1.75e-3
    assert asyncio.run(work()) == pytest.approx((8 + answered) * character + 2 * gap + DEVICE_SECONDS, abs=1e-9)


def test_published_gaps() -> None:
    gaps = {9600: 4.01042e-3, 19200: 2.0052e-3, 38400: 1.750e-3, 115200: 1.750e-3}
    for baud, gap in gaps.items():
        assert Line(baud, "8E1", framed=True).gap == pytest.approx(gap, abs=1e-7)
        assert Line(baud, "8N2", framed=True).gap == pytest.approx(gap, abs=1e-7)
    assert Line(9600, "8N1", framed=False).character_seconds == pytest.approx(10 / 9600)


def test_four_modules_and_a_power_meter_on_one_line() -> None:
    async def work(station: Station, plant: FakePlant) -> None:
        plant.inputs_closed[3] = True
        peer = await Peer(station, "modbus").open()
        assert (await peer.ask(rtu("05 0002 FF00", 4))).data == rtu("05 0002 FF00", 4)
        assert (await peer.ask(rtu("01 0000 0008", 4))).data == rtu("01 01 04", 4)
        assert (await peer.ask(rtu("01 0000 0008", 1))).data == rtu("01 01 00", 1)
        assert (await peer.ask(rtu("02 0000 0008", 2))).data == rtu("02 01 08", 2)
        assert (await peer.ask(rtu("04 000A 0001", 3))).data == rtu("04 02 0000", 3)
        assert (await peer.ask(rtu("04 0008 0002", 5))).data == rtu("04 04 4248 0000", 5)
        assert (await peer.ask(rtu("01 0000 0008", 9))).how == "silence"
        peer.close()

    on_station(work, wiring="serial")


def test_a_word_to_all_devices_is_obeyed_and_not_answered() -> None:
    async def work(station: Station, plant: FakePlant) -> None:
        assert station.clock is not None
        peer = await Peer(station, "modbus").open()
        peer.write(rtu("05 0002 FF00", 0))
        while not (plant.boards[1][2] and plant.boards[4][2]):  # however long a busy machine takes
            await asyncio.sleep(0.001)
        assert await peer.take() == b""
        peer.close()

    on_station(work, wiring="serial")


@pytest.mark.parametrize(
    "noise",
    [
        rtu("05 0002 FF00")[:-1] + b"\0",  # a wrong CRC
        rtu("05 0002 FF00")[:5],  # broken off
        b"\0" + rtu("05 0002 FF00"),  # a device does not search for a frame behind noise
        b"\xff" * 9,
    ],
)
def test_what_is_no_frame_is_not_answered_and_forgotten_when_the_line_falls_silent(noise: bytes) -> None:
    async def work(station: Station, plant: FakePlant) -> None:
        peer = await Peer(station, "modbus").open()
        heard = await peer.ask(noise)
        assert (heard.data, heard.how, heard.seconds) == (b"", "silence", 0.6)
        assert (await peer.ask(rtu("01 0000 0008"))).data == rtu("01 01 00")
        assert not any(plant.boards[1])
        peer.close()

    on_station(work, wiring="serial")


def test_a_function_that_nobody_knows_is_ended_by_silence_and_refused() -> None:
    async def work(station: Station, plant: FakePlant) -> None:
        peer = await Peer(station, "modbus").open()
        assert (await peer.ask(rtu("65 01 02 03"))).data == rtu("E5 01")
        peer.close()

    on_station(work, wiring="serial")


def test_pymodbus_takes_a_late_answer_for_that_of_its_next_question() -> None:
    """No transaction number on a serial line: coil 20 is read as on, because coil 10 is."""

    async def work(station: Station, plant: FakePlant) -> None:
        clock = station.clock
        assert clock is not None
        plant.boards[1][10] = True
        client = serial_client(path_of(station, "modbus"))
        assert await client.connect()

        async def coil(channel: int) -> bool:
            read = await clock.exchange("modbus", lambda: client.read_coils(channel, count=1, device_id=1), 0.6)
            return bool(read.bits[0])

        assert await coil(10)
        assert not await coil(20)
        station.misbehave("very-late", "relays-1", times=1)
        with pytest.raises(TimeoutError):
            await coil(10)
        assert await coil(20), "the hazard that the driver must know"
        client.close()
        assert clock.now() > 0.6

    on_station(work, wiring="serial")


def test_pymodbus_on_the_line_in_lockstep_is_the_same_every_time() -> None:
    traces: list[list[float]] = []

    async def work(station: Station, plant: FakePlant) -> None:
        clock = station.clock
        assert clock is not None
        client = serial_client(path_of(station, "modbus"))
        assert await client.connect()
        trace: list[float] = []
        for channel in range(20):
            await clock.exchange("modbus", lambda c=channel: client.write_coil(c, True, device_id=1), 0.6)
            await clock.exchange("modbus", lambda: client.read_input_registers(0, count=12, device_id=3), 0.6)
            trace.append(clock.now())
        traces.append(trace)
        client.close()

    for _ in range(3):
        on_station(work, wiring="serial")
    assert traces[0] == traces[1] == traces[2]
    assert traces[0][-1] == pytest.approx(20 * ((16 + 7) + (37 + 7)) * 11 / 19200 + 40 * DEVICE_SECONDS)


def test_the_meter_on_a_serial_line_with_pyvisa() -> None:
    pyvisa = pytest.importorskip("pyvisa")

    async def work(station: Station, plant: FakePlant) -> None:
        clock, loop = station.clock, asyncio.get_running_loop()
        assert clock is not None
        path = path_of(station, "meter")
        opened: list[Any] = []

        def in_thread(line: str, answer: "asyncio.Future[str]") -> None:
            if not opened:
                opened.append(pyvisa.ResourceManager("@py").open_resource(f"ASRL{path}::INSTR"))
                opened[0].read_termination = opened[0].write_termination = "\n"
                opened[0].timeout = 5000
            loop.call_soon_threadsafe(answer.set_result, opened[0].query(line))

        async def query(line: str) -> str:
            answer: asyncio.Future[str] = loop.create_future()
            threading.Thread(target=in_thread, args=(line, answer), daemon=True).start()
            return await answer

        said = await clock.exchange("meter", lambda: query("*IDN?"), 5.0)
        assert said == IDENTITY
        characters = len("*IDN?\n") + len(IDENTITY + "\n")
        assert clock.now() == pytest.approx(characters * SCPI_LINE.character_seconds + LINE_SECONDS)
        plant.terminals["volts-dc"] = 2.5
        said = await clock.exchange("meter", lambda: query("MEAS:VOLT? 10"), 5.0)
        assert float(said) == pytest.approx(2.5, abs=1e-3)
        opened[0].close()

    on_station(work, wiring="serial")


def test_a_long_record_comes_whole_although_the_line_cannot_hold_it() -> None:
    async def work(station: Station, plant: FakePlant) -> None:
        peer = await Peer(station, "meter").open()
        await peer.ask(b"CONF:VOLT 0.1;:SWE:POIN 3000;TINT 1E-4;:INIT;:SYST:ERR?\n")
        heard = await peer.ask(b"FETC?\n", limit=20.0)
        assert len(heard.data.split(b",")) == 3000
        assert heard.seconds == pytest.approx(0.3 + (6 + len(heard.data)) * 10 / 115200, abs=0.05)
        peer.close()

    on_station(work, wiring="serial")


def test_at_real_pace_characters_take_their_time() -> None:
    async def work(station: Station, plant: FakePlant) -> None:
        loop = asyncio.get_running_loop()
        peer = await Peer(station, "modbus").open()
        began = loop.time()
        peer.write(rtu("04 0000 000C", 3))
        first = await _until(peer, 1) - began
        whole = await _until(peer, 29) - began
        character = 11 / 19200
        assert first >= (8 + 3.5 + 1) * character + DEVICE_SECONDS
        assert whole >= (8 + 3.5 + 29) * character + DEVICE_SECONDS
        assert bytes(peer.heard[:3]) == bytes.fromhex("03 04 18")
        peer.close()

    on_station(work, wiring="serial", lockstep=False)


async def _until(peer: Peer, size: int) -> float:
    """Wait for so many bytes; the loop's time at which they are there."""
    async with asyncio.timeout(10.0):
        while len(peer.heard) < size:
            await asyncio.sleep(0.0005)
    return asyncio.get_running_loop().time()


def test_a_line_that_is_pulled_hangs_up() -> None:
    async def work(station: Station, plant: FakePlant) -> None:
        peer = await Peer(station, "modbus").open()
        await peer.ask(rtu("01 0000 0008"))
        station.shut_listener("modbus")
        await asyncio.sleep(0.005)
        assert peer.cut
        peer.close()
        await station.close_listener("modbus")

    on_station(work, wiring="serial")
