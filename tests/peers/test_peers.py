"""Peers that nobody here wrote: clients from Debian, PyVISA and plain sockets against the simulated station, on sockets
and serial lines, and our drivers against pymodbus's own servers. Skipped where a client is missing; what CI runs
installs them. A general SCPI server that nobody here wrote was not to be had."""

from __future__ import annotations

import asyncio
import os
import re
import shutil
import signal
import socket
import subprocess
import sys
import tty
from collections.abc import Coroutine, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest
import pyvisa
from pymodbus import FramerType
from pymodbus.server import ModbusSerialServer, ModbusTcpServer
from pymodbus.simulator import DataType, SimData, SimDevice

from drivers.analog import open_analog
from drivers.inputs import open_inputs
from drivers.relays import open_relays
from rig.bench.clock import WallClock
from rig.bench.ports import Connection
from rig.errors import Declined
from rig.plan.wiring import InstrumentSpec, Link

RIG = [sys.executable, "-c", "from rig.cli.main import main; main()"]


def needs(program: str) -> None:
    """Skip, with the reason, where a client is not installed."""
    if shutil.which(program) is None:
        pytest.skip(f"{program} is not installed (Debian: mbpoll, lxi-tools)")


@contextmanager
def served(*options: str) -> Iterator[dict[str, str]]:
    """``rig station`` as a program of its own: where it says it listens, by what is spoken there."""
    process = subprocess.Popen([*RIG, "station", "--seed", "4", *options], stdout=subprocess.PIPE, text=True)
    assert process.stdout is not None
    found: dict[str, str] = {}
    try:
        for line in process.stdout:
            spoken, _, at = line.strip().split(" ", 2)
            found[spoken] = at.rpartition(":")[2]
            if spoken == "control":
                break
        yield found
    finally:
        process.send_signal(signal.SIGTERM)
        process.wait(20)
        process.stdout.close()


@pytest.fixture
def station() -> Iterator[dict[str, str]]:
    with served() as found:
        yield found


@pytest.fixture
def serial_station() -> Iterator[dict[str, str]]:
    with served("--wiring", "serial") as found:
        yield found


def mbpoll(port: str, *arguments: str, values: Sequence[int] = ()) -> str:
    """Modbus TCP at a port, or RTU at the path of a serial line."""
    way = ["-m", "rtu", "-b", "19200", "-P", "none", "-s", "2"] if "/" in port else ["-m", "tcp", "-p", port]
    once = [] if values else ["-1"]
    done = subprocess.run(
        ["mbpoll", *way, "-0", *once, *arguments, port if "/" in port else "127.0.0.1", *map(str, values)],
        capture_output=True, text=True, check=False, timeout=30,
    )  # fmt: skip
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout


def values(text: str) -> dict[int, int]:
    return {int(a): int(v) for a, v in re.findall(r"^\[(\d+)\]:\s+(-?\d+)", text, re.MULTILINE)}


def test_mbpoll_reads_contacts_analog_channels_and_a_serial_number(station: dict[str, str]) -> None:
    needs("mbpoll")
    port = station["modbus"]
    inputs = values(mbpoll(port, "-a", "2", "-t", "1", "-r", "0", "-c", "24"))
    assert len(inputs) == 24
    assert inputs[12] == 1, "the emergency stop is healthy"
    assert inputs[0] == 0, "the mains is off"
    analog = values(mbpoll(port, "-a", "3", "-t", "3", "-r", "0", "-c", "8"))
    assert 1000 < analog[3] < 3500, "ambient between 10 and 35 Cel, hundredths of a kelvin"
    serial = values(mbpoll(port, "-a", "1", "-t", "4", "-r", "0", "-c", "8"))
    text = b"".join(serial[n].to_bytes(2, "big") for n in range(8)).decode("ascii")
    assert text.strip() == "SIM-R1"


@pytest.mark.parametrize("wiring", ["tcp", "serial"])
def test_mbpoll_switches_a_lamp_on_and_off(wiring: str) -> None:
    needs("mbpoll")
    with served("--wiring", wiring) as station:
        port, lamp = station["modbus"], ("-a", "1", "-t", "0", "-r", "17")
        for wanted in (1, 0):
            mbpoll(port, *lamp, values=[wanted])
            assert values(mbpoll(port, *lamp, "-c", "1")) == {17: wanted}


def test_mbpoll_on_a_serial_line_finds_every_module(serial_station: dict[str, str]) -> None:
    """RTU: each module by its number, and one that is not there is silent."""
    needs("mbpoll")
    for device, serial in ((1, "SIM-R1"), (2, "SIM-I1"), (3, "SIM-A1"), (4, "SIM-R2"), (5, "SIM-P1")):
        found = values(mbpoll(serial_station["modbus"], "-a", str(device), "-t", "4", "-r", "0", "-c", "8"))
        assert b"".join(found[n].to_bytes(2, "big") for n in range(8)).decode("ascii").strip() == serial
    with pytest.raises(AssertionError, match="timed out"):
        mbpoll(serial_station["modbus"], "-a", "9", "-t", "4", "-r", "0", "-c", "1")


def test_mbpoll_is_told_which_exception(station: dict[str, str]) -> None:
    """The specification's words for codes 1 and 2, as that program has them."""
    needs("mbpoll")
    with pytest.raises(AssertionError, match="Illegal data address"):
        mbpoll(station["modbus"], "-a", "2", "-t", "1", "-r", "100", "-c", "8")
    with pytest.raises(AssertionError, match="Illegal function"):
        mbpoll(station["modbus"], "-a", "2", "-t", "0", "-r", "0", "-c", "8")


@pytest.mark.parametrize("wiring", ["tcp", "serial"])
def test_a_bare_visa_program_measures(wiring: str) -> None:
    """PyVISA as its own guide says it: nothing of ours between the program and the meter."""
    with served("--wiring", wiring) as station:
        at = station["scpi"]
        name = f"ASRL{at}::INSTR" if wiring == "serial" else f"TCPIP::127.0.0.1::{at}::SOCKET"
        meter: Any = pyvisa.ResourceManager("@py").open_resource(name, read_termination="\n", write_termination="\n")
        try:
            meter.timeout = 20_000
            if wiring == "serial":
                meter.baud_rate = 115_200
            assert meter.query("*IDN?").split(",")[2] == "SIM-M1"
            assert [abs(v) < 0.01 for v in meter.query_ascii_values("MEAS:VOLT:DC? 10")] == [True]
            meter.write("CONF:RES 1000")
            assert meter.query_ascii_values("READ?")[0] > 1e30
            assert meter.query("SYST:ERR?") == '0,"No error"'
        finally:
            meter.close()


def test_a_bare_socket_speaks_to_scale_and_control(station: dict[str, str]) -> None:
    for spoken, line, back in (("scale", b"I\n", b"SCALE,SIM-S1\n"), ("control", b'{"state": true}\n', b'{"ok": true')):
        with socket.create_connection(("127.0.0.1", int(station[spoken])), timeout=20) as one:
            one.sendall(line)
            assert one.recv(65536).startswith(back)


def test_lxi_asks_the_meter_who_it_is_and_reads_volts(station: dict[str, str]) -> None:
    needs("lxi")

    def ask(line: str) -> str:
        done = subprocess.run(
            ["lxi", "scpi", "-a", "127.0.0.1", "-p", station["scpi"], "-r", "-t", "5", line],
            capture_output=True, text=True, check=False, timeout=30,
        )  # fmt: skip
        assert done.returncode == 0, done.stderr
        return done.stdout.strip()

    assert ask("*IDN?").split(",")[2] == "SIM-M1"
    assert abs(float(ask("MEAS:VOLT:DC? 10"))) < 0.01
    assert ask("SYST:ERR?") == '0,"No error"'


def connection(address: str, name: str, channels: int) -> Connection:
    spec = InstrumentSpec(driver="x", link="modbus", device=1, channels=channels, serial="S")
    rtu = address.startswith("/")
    link = Link(
        protocol="modbus-rtu" if rtu else "modbus-tcp", address=address, **({"parity": "none"} if rtu else {})
    )  # fmt: skip
    return Connection(name, spec, "modbus", link, WallClock(), simulated=False)


def tables() -> SimDevice:
    """A device of the library's own, with nothing of ours in it: coils, inputs, registers."""
    return SimDevice(
        1,
        simdata=(
            [SimData(0, values=[False] * 16, datatype=DataType.BITS)],
            [SimData(0, values=[True, False] * 8, datatype=DataType.BITS)],
            [SimData(0, values=[0x5331, *[0x2020] * 7], datatype=DataType.REGISTERS)],
            [SimData(0, values=[0, 1, 0x8000, 0xFFFF], datatype=DataType.REGISTERS)],
        ),
    )


async def our_drivers_at(address: str) -> None:
    """What they say of those tables, and that they pass on an exception for what is not there."""
    shared: dict[str, object] = {}
    relays = await open_relays(connection(address, "relays", 16), shared)
    inputs = await open_inputs(connection(address, "inputs", 16), shared)
    analog = await open_analog(connection(address, "analog", 4), shared)
    try:
        assert await relays.identify() == "S1"
        await relays.write(3, True)
        assert (await relays.read()).value == tuple(n == 3 for n in range(16))
        await relays.write_all([False] * 16)
        assert not any((await relays.read()).value)
        assert (await inputs.read()).value == (True, False) * 8
        assert (await analog.read_raw(0, 4)).value == (0, 1, -32768, -1)
        with pytest.raises(Declined, match="address"):
            await analog.read_raw(40, 2)
    finally:
        await relays.close()


async def with_server(server: Any, work: Coroutine[Any, Any, None]) -> None:
    serving = asyncio.create_task(server.serve_forever())
    await asyncio.sleep(0.2)
    try:
        await work
    finally:
        await server.shutdown()
        await asyncio.gather(serving, return_exceptions=True)


def test_our_drivers_against_pymodbus_s_own_server(unused_port: int) -> None:
    async def main() -> None:
        server = ModbusTcpServer(tables(), address=("127.0.0.1", unused_port))
        await with_server(server, our_drivers_at(f"127.0.0.1:{unused_port}"))

    asyncio.run(main())


def test_our_drivers_against_pymodbus_s_own_server_on_a_serial_line() -> None:
    """Two pseudo-terminals, wire to wire."""

    async def main() -> None:
        ends = [os.openpty() for _ in range(2)]
        for ours, theirs in ends:
            tty.setraw(theirs)
            os.set_blocking(ours, False)
        loop = asyncio.get_running_loop()
        for (one, _), (other, _) in (ends, ends[::-1]):
            loop.add_reader(one, lambda a=one, b=other: os.write(b, os.read(a, 4096)))
        paths = [os.ttyname(theirs) for _, theirs in ends]
        server = ModbusSerialServer(tables(), framer=FramerType.RTU, port=paths[0], baudrate=19_200, stopbits=2)
        try:
            await with_server(server, our_drivers_at(paths[1]))
        finally:
            for pair in ends:
                loop.remove_reader(pair[0])
                for end in pair:
                    os.close(end)

    asyncio.run(main())


@pytest.fixture
def unused_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def test_the_peers_that_ci_installs_are_those_named_here() -> None:
    run = (Path(__file__).parents[2] / ".ci" / "run").read_text(encoding="utf-8")
    for package in ("mbpoll", "lxi-tools"):
        assert package in run
