"""Peers that nobody here wrote: clients from Debian against the simulated station, and our drivers against pymodbus's
own server. Skipped where a client is missing; what CI runs installs them."""

from __future__ import annotations

import asyncio
import re
import shutil
import signal
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from pymodbus.server import ModbusTcpServer
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


@pytest.fixture
def station() -> Iterator[dict[str, str]]:
    """``rig station`` as a program of its own: what it says it listens on, by what is spoken there."""
    process = subprocess.Popen([*RIG, "station", "--seed", "4"], stdout=subprocess.PIPE, text=True)
    assert process.stdout is not None
    found: dict[str, str] = {}
    try:
        for line in process.stdout:
            spoken, _, port = line.strip().rpartition(":")
            found[spoken.split(" ")[0]] = port
            if spoken.startswith("control"):
                break
        yield found
    finally:
        process.send_signal(signal.SIGTERM)
        process.wait(20)
        process.stdout.close()


def mbpoll(port: str, *arguments: str) -> str:
    done = subprocess.run(
        ["mbpoll", "-m", "tcp", "-p", port, "-0", "-1", *arguments, "127.0.0.1"],
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


def test_mbpoll_switches_a_lamp_on_and_off(station: dict[str, str]) -> None:
    needs("mbpoll")
    port, lamp = station["modbus"], ("-a", "1", "-t", "0", "-r", "17")
    for wanted in (1, 0):
        subprocess.run(
            ["mbpoll", "-m", "tcp", "-p", port, "-0", *lamp, "127.0.0.1", str(wanted)],
            capture_output=True, check=True, timeout=30,
        )  # fmt: skip
        assert values(mbpoll(port, *lamp, "-c", "1")) == {17: wanted}


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


def connection(port: int, name: str, device: int, channels: int) -> Connection:
    spec = InstrumentSpec(driver="x", link="modbus", device=device, channels=channels, serial="S")
    link = Link(protocol="modbus-tcp", address=f"127.0.0.1:{port}")
    return Connection(name, spec, "modbus", link, WallClock(), simulated=False)


def test_our_drivers_against_pymodbus_s_own_server(unused_port: int) -> None:
    """A server with nothing of ours in it: coils, inputs, registers, and an exception for what is not there."""

    async def main() -> None:
        bits = [SimData(0, values=[False] * 16, datatype=DataType.BITS)]
        device = SimDevice(
            1,
            simdata=(
                bits,
                [SimData(0, values=[True, False] * 8, datatype=DataType.BITS)],
                [SimData(0, values=[0x5331, *[0x2020] * 7], datatype=DataType.REGISTERS)],
                [SimData(0, values=[0, 1, 0x8000, 0xFFFF], datatype=DataType.REGISTERS)],
            ),
        )
        server = ModbusTcpServer(device, address=("127.0.0.1", unused_port))
        serving = asyncio.create_task(server.serve_forever())
        await asyncio.sleep(0.2)
        shared: dict[str, object] = {}
        relays = await open_relays(connection(unused_port, "relays", 1, 16), shared)
        inputs = await open_inputs(connection(unused_port, "inputs", 1, 16), shared)
        analog = await open_analog(connection(unused_port, "analog", 1, 4), shared)
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
            await server.shutdown()
            await asyncio.gather(serving, return_exceptions=True)

    asyncio.run(main())


@pytest.fixture
def unused_port() -> int:
    import socket

    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def test_the_peers_that_ci_installs_are_those_named_here() -> None:
    run = (Path(__file__).parents[2] / ".ci" / "run").read_text(encoding="utf-8")
    for package in ("mbpoll", "lxi-tools"):
        assert package in run
