"""What a technician is told of VISA resources that cannot be used: plain sentences, none of a library's own words."""

from __future__ import annotations

import asyncio
import gc
import importlib.util
import os
import re
import socket
import tty
import warnings
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from drivers.multimeter import open_multimeter
from drivers.visa_faults import fault_of
from rig.bench.clock import WallClock
from rig.bench.ports import Connection
from rig.errors import InputError, InstrumentError, NoAnswer
from rig.plan.wiring import InstrumentSpec, Link

# What libraries say, and no technician should read.
JARGON = re.compile(r"Errno|VI_ERROR|Traceback|Please install|could not connect|Exception|0x|!!|\(-?\d{4,}\)|No module")
SPEC = InstrumentSpec(driver="scpi-multimeter", link="meter", serial="S", map="scpi-99")


def told(resource: str) -> InstrumentError | InputError:
    """What asking an instrument there for its name comes to."""

    async def ask() -> InstrumentError | InputError:
        link = Link(protocol="visa", address=resource)
        try:
            meter = await open_multimeter(Connection("meter-1", SPEC, "meter", link, WallClock(), simulated=False), {})
            with pytest.raises(InstrumentError) as caught:
                await meter.identify()
            await meter.close()
        except InputError as error:
            return error
        return caught.value

    error = asyncio.run(ask())
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # the library leaves a socket behind that was refused
        gc.collect()
    return error


@pytest.fixture
def nobody() -> Iterator[int]:
    """A port at which nobody listens."""
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        yield taken.getsockname()[1]


@pytest.mark.parametrize(
    ("resource", "says", "do"),
    [
        ("TCPIP::127.0.0.1::{port}::SOCKET", "refused", "Check power, cable and address"),
        ("TCPIP::127.0.0.1::{port}::INSTR", "refused", "Check power, cable and address"),
        ("TCPIP::127.0.0.1::hislip0,{port}::INSTR", "nobody is found there", "Check power, cable and address"),
        ("ASRL/dev/no-such-port::INSTR", "there is no port /dev/no-such-port", "Plug in the adapter"),
        ("ASRL/dev/null::INSTR", "/dev/null is no serial port", "bench file"),
        ("ASRL/tmp::INSTR", "/tmp is a folder", "bench file"),
    ],
)
def test_an_instrument_that_is_not_there(resource: str, says: str, do: str, nobody: int) -> None:
    error = told(resource.format(port=nobody))
    assert isinstance(error, NoAnswer)
    assert error.culprit == "meter-1"
    assert says in error.what
    assert do in error.do
    assert not JARGON.search(error.sentence()), error.sentence()


@pytest.mark.parametrize(
    ("resource", "says"),
    [
        ("USB0::0x1234::0x5678::SN1::INSTR", "needs PyUSB"),
        ("GPIB0::5::INSTR", "needs linux-gpib or gpib-ctypes"),
        ("rubbish", "no VISA resource string"),
        ("", "no VISA resource string"),
        ("VXI0::1::INSTR", "no VISA resource string that can be opened here"),
        ("TCPIP::127.0.0.1::x::SOCKET", "no VISA resource string"),
        ("TCPIP::127.0.0.1::99999::SOCKET", "no VISA resource string"),
        ("TCPIP::::5025::SOCKET", "no VISA resource string"),
        ("\x1b[2J", "no VISA resource string"),
    ],
)
def test_what_can_never_be_opened_here_is_an_error_of_the_bench_file(resource: str, says: str) -> None:
    """Before anything is energized: exit code 2. Where PyUSB or GPIB is installed, that is another error."""
    helper = {"USB": "usb", "GPI": "gpib_ctypes"}.get(resource[:3])
    if helper is not None and importlib.util.find_spec(helper) is not None:
        pytest.skip(f"{helper} is installed")
    link = Link.model_construct(protocol="visa", address=resource, baud=None, parity=None, stop_bits=None)

    async def open_it() -> None:
        await open_multimeter(Connection("meter-1", SPEC, "meter", link, WallClock(), simulated=False), {})

    with pytest.raises(InputError) as caught:
        asyncio.run(open_it())
    sentence = caught.value.sentence()
    assert says in sentence
    assert "link meter" in sentence
    assert sentence.isprintable()
    assert not JARGON.search(sentence.replace("0x1234", "").replace("0x5678", "")), sentence


def test_a_peer_that_hangs_up_is_told_at_once_on_a_socket() -> None:
    """The library would look again and again until its time limit. No time is measured: it comes before ours does."""

    async def work() -> str:
        async def hang_up(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
            await reader.readline()
            writer.close()

        server = await asyncio.start_server(hang_up, "127.0.0.1", 0)
        port = server.sockets[0].getsockname()[1]
        link = Link(protocol="visa", address=f"TCPIP::127.0.0.1::{port}::SOCKET")
        meter = await open_multimeter(Connection("meter-1", SPEC, "meter", link, WallClock(), simulated=False), {})
        with pytest.raises(NoAnswer) as caught:
            await meter.identify()
        await meter.close()
        server.close()
        return caught.value.what

    assert asyncio.run(work()) == "the connection was closed by the other end"


def test_an_adapter_that_is_pulled_out_is_told() -> None:
    """The other end of a pseudo-terminal goes: reads give an error, as those of an adapter do."""

    async def work() -> InstrumentError:
        ours, theirs = os.openpty()
        tty.setraw(theirs)
        link = Link(protocol="visa", address=f"ASRL{os.ttyname(theirs)}::INSTR", baud=9600, parity="none")
        meter = await open_multimeter(Connection("meter-1", SPEC, "meter", link, WallClock(), simulated=False), {})
        asking = asyncio.ensure_future(meter.identify())
        while not await asyncio.to_thread(os.read, ours, 100):
            pass
        os.close(theirs)
        os.close(ours)
        with pytest.raises(NoAnswer) as caught:
            await asking
        await meter.close()
        return caught.value

    error = asyncio.run(work())
    assert error.do == "Plug the adapter in again; end other programs that have it open." or "no answer" in error.what
    assert not JARGON.search(error.sentence()), error.sentence()


@pytest.mark.parametrize(
    "thrown",
    [
        Exception("could not connect: [Errno -2] Name or service not known"), ValueError("viFoo 0x7f (-1073807343)"),
        OSError(5, "Input/output error"), BrokenPipeError(32, "Broken pipe"), RuntimeError("!!"), KeyError("session"),
        PermissionError(13, "Permission denied"), UnicodeDecodeError("ascii", b"\xff", 0, 1, "ordinal not in range"),
    ],
    ids=lambda error: type(error).__name__,
)  # fmt: skip
@pytest.mark.parametrize("resource", ["TCPIP::h::1::SOCKET", "ASRL/dev/ttyUSB0::INSTR"])
def test_whatever_a_library_throws_becomes_one_of_our_errors(thrown: Exception, resource: str) -> None:
    error = fault_of(thrown, resource, "meter-1")
    assert isinstance(error, InstrumentError)
    assert error.what and error.do and error.culprit == "meter-1"
    assert not JARGON.search(error.sentence().replace("RuntimeError", "")), error.sentence()


def test_a_port_that_may_not_be_opened_or_is_in_use(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    from drivers.ports import why_not_opened

    ours, theirs = os.openpty()
    refused: Callable[..., bool] = lambda *args, **named: False  # noqa: E731
    try:
        assert why_not_opened(os.ttyname(theirs))[0].endswith("cannot be opened")
        monkeypatch.setattr(os, "access", refused)
        assert "may not open" in why_not_opened(os.ttyname(theirs))[0]
    finally:
        os.close(ours)
        os.close(theirs)
    (tmp_path / "file").touch()
    assert "no serial port" in why_not_opened(str(tmp_path / "file"))[0]
    assert "no port" in why_not_opened(str(tmp_path / "none"))[0]
    assert "cannot be opened" in why_not_opened("a\0b")[0]
