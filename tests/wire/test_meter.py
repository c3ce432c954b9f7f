"""The meter in SCPI: headers, functions, ranges, records, errors; over the socket with pyvisa in a thread."""

import asyncio
import math
import threading
from collections.abc import Awaitable, Callable
from typing import Any

import pytest
import pyvisa
from fake_plant import RISE, FakePlant

from simulators.clock import LockstepClock
from simulators.instruments import METER
from simulators.wire import Pace
from simulators.wire.link import Link
from simulators.wire.meter import AC_SECONDS, CONFIGURE_SECONDS, DC_SECONDS, IDENTITY, Meter
from simulators.wire.scpi import LINE_SECONDS, ScpiInstrument, spellings
from simulators.wire.tcp import TcpListener


class Dialogue:
    """A meter without a socket: a line in, the answer's text out (None: silence)."""

    def __init__(self, seed: int = 0) -> None:
        self.plant = FakePlant()
        self.meter = Meter(self.plant, seed)
        self.end = ScpiInstrument(self.meter.interpreter, self.meter.advance)
        self.now = 0.0
        self.seconds = 0.0

    def __call__(self, line: str) -> str | None:
        answer = self.end.serve(line.encode(), self.now)
        self.seconds = answer.seconds
        assert answer.silent == (answer.data is None and "?" in line)
        if answer.data is None:
            return None
        assert answer.data.endswith(b"\n")
        return answer.data.decode().strip()

    def errors(self) -> list[str]:
        found = []
        while (error := self("SYST:ERR?")) != '0,"No error"':
            found.append(str(error))
        return found

    def value(self, line: str) -> float:
        return float(str(self(line)))


def test_spellings_are_the_short_and_the_long_forms_with_optional_nodes() -> None:
    assert set(spellings("[SENSe:]SWEep:POINts?")) == {
        f"{sense}{sweep}:{points}?"
        for sense in ("", "SENS:", "SENSE:")
        for sweep in ("SWE", "SWEEP")
        for points in ("POIN", "POINTS")
    }
    assert set(spellings("VOLTage[:DC]")) == {"VOLT", "VOLTAGE", "VOLT:DC", "VOLTAGE:DC"}
    assert spellings("*IDN?") == ["*IDN?"]


@pytest.mark.parametrize(
    "line",
    [
        "CONF:VOLT:DC 10",
        "CONFIGURE:VOLTAGE:DC 10",
        ":conf:volt 10",
        "Conf:Voltage:Dc 1E1,DEF",
        "CONF:VOLT\t9.5",
    ],
)
def test_one_command_in_its_forms(line: str) -> None:
    meter = Dialogue()
    assert meter("*RST") is None
    assert meter(line) is None
    assert meter("CONF?") == '"VOLT +1.000000E+01,+1.000000E-05"'
    assert meter.errors() == []


@pytest.mark.parametrize(
    ("line", "error"),
    [
        ("CONFI:VOLT 10", '-113,"Undefined header"'),  # neither the short form nor the long one
        ("FOO?", '-113,"Undefined header"'),
        ("CONF:VOLT?", '-113,"Undefined header"'),
        ("READ", '-113,"Undefined header"'),
        ("CONF::VOLT", '-102,"Syntax error"'),
        ("12?", '-102,"Syntax error"'),
        ("CONF:VOLT ten", '-104,"Data type error"'),
        ("CONF:VOLT 1_0", '-104,"Data type error"'),
        ("CONF:VOLT nan", '-104,"Data type error"'),
        ("CONF:VOLT 1,,", '-108,"Parameter not allowed"'),
        ("CONF:VOLT 10,1e-5,3", '-108,"Parameter not allowed"'),
        ("*IDN? 1", '-108,"Parameter not allowed"'),
        ("CONF:DIOD 1", '-108,"Parameter not allowed"'),
        ("SENS:SWE:POIN", '-109,"Missing parameter"'),
        ("CONF:VOLT 2000", '-222,"Data out of range"'),
        ("CONF:VOLT -1", '-222,"Data out of range"'),
        ("SENS:SWE:POIN 0", '-222,"Data out of range"'),
        ("SENS:SWE:TINT 1e-9", '-222,"Data out of range"'),
        ("SENS:SWE:POIN 1.5", '-224,"Illegal parameter value"'),
        ("FETC?", '-230,"Data corrupt or stale"'),
        ("CONF:RES;:SWE:POIN 5;:INIT", '-221,"Settings conflict"'),
    ],
)
def test_what_is_wrong_goes_to_the_error_queue_and_gets_no_answer(line: str, error: str) -> None:
    meter = Dialogue()
    assert meter(line) is None
    assert meter.errors() == [error]


def test_the_line_goes_on_behind_an_error() -> None:
    meter = Dialogue()
    assert meter("CONF:VOLT:XY 10;:SYST:ERR?") == '-113,"Undefined header"'
    assert meter("CONF:VOLT 9999;*OPC?;:SYST:ERR?") == '1;-222,"Data out of range"'


def test_the_path_carries_on_behind_a_semicolon_until_a_colon() -> None:
    meter = Dialogue()
    meter("SENS:SWE:POIN 7;*CLS;TINT 2e-3")
    assert meter("SENS:SWE:POIN?;TINT?") == "7;2.00000000E-03"
    assert meter.errors() == []
    assert meter("SENS:SWE:POIN 8;SYST:ERR?") is None  # SENS:SWE:SYST:ERR? is no header
    assert meter.errors() == ['-113,"Undefined header"']


def test_the_error_queue_overflows_with_its_own_error_and_is_cleared() -> None:
    meter = Dialogue()
    for _ in range(30):
        meter("FOO")
    assert meter.errors() == ['-113,"Undefined header"'] * 19 + ['-350,"Queue overflow"']
    meter("FOO")
    meter("*CLS")
    assert meter.errors() == []


def test_event_status_is_read_and_cleared() -> None:
    meter = Dialogue()
    assert meter("*ESR?") == "128"  # power on
    assert meter("*ESR?") == "0"
    meter("FOO")
    meter("CONF:VOLT 9999")
    meter("*OPC")
    assert meter("*ESR?") == str(32 + 16 + 1)
    assert meter("*OPC?") == "1"


@pytest.mark.parametrize(
    ("header", "asked", "chosen"),
    [
        ("VOLT:DC", "MIN", 0.1),
        ("VOLT:DC", "0.1", 0.1),
        ("VOLT:DC", "0.11", 1.0),
        ("VOLT:DC", "100", 100.0),
        ("VOLT:DC", "MAX", 1000.0),
        ("VOLT:AC", "750", 750.0),
        ("VOLT:AC", "101", 750.0),
        ("RES", "1", 100.0),
        ("FRES", "1", 10.0),
        ("FRES", "1E3", 1000.0),
        ("RES", "1.1e6", 1e7),
        ("RES", "1e8", 1e8),
        ("CURR:DC", "0.5", 1.0),
        ("CURR:AC", "3", 3.0),
    ],
)
def test_the_smallest_range_that_holds_what_is_asked(header: str, asked: str, chosen: float) -> None:
    meter = Dialogue()
    meter(f"CONF:{header} {asked}")
    name, scale = str(meter("CONF?")).strip('"').split(" ")
    assert float(scale.split(",")[0]) == chosen
    assert header.startswith(name)


@pytest.mark.parametrize(
    ("header", "sees", "on", "value"),
    [
        ("VOLT:DC", "volts-dc", 0.1, 0.0417),
        ("VOLT:DC", "volts-dc", 100.0, 23.4),
        ("VOLT:DC", "volts-dc", 100.0, -23.4),
        ("VOLT:AC", "volts-ac", 750.0, 229.3),
        ("RES", "ohms-2w", 1e6, 83_000.0),
        ("FRES", "ohms-4w", 10.0, 0.02),
        ("FRES", "ohms-4w", 1e3, 57.9),
        ("CURR:AC", "amps-ac", 1.0, 0.04),
        ("DIOD", "diode", 10.0, 0.61),
        ("CONT", "ohms-2w", 1e3, 3.0),
        ("FREQ", "frequency", 1e3, 50.0),
    ],
)
def test_readings_lie_within_the_accuracy_statement(header: str, sees: str, on: float, value: float) -> None:
    accuracy = METER[sees].accuracy(on)
    limit = accuracy.of_reading * abs(value) + accuracy.of_range * on
    means = set()
    for seed in range(12):
        meter = Dialogue(seed)
        meter.plant.terminals[sees] = value
        meter(f"CONF:{header}" + ("" if header in ("DIOD", "CONT", "FREQ") else f" {on}"))
        shown = [meter.value("READ?") for _ in range(10)]
        assert all(abs(reading - value) <= limit for reading in shown)
        assert len(set(shown)) > 1, "a meter has noise"
        means.add(round(sum(shown) / len(shown), 9))
    assert len(means) > 8, "each seed is another meter"  # two may show the same last digit


def test_a_seed_gives_the_same_readings_whatever_was_read_on_other_ranges() -> None:
    def voltages(also: bool) -> list[str | None]:
        meter = Dialogue(5)
        meter.plant.terminals.update({"volts-dc": 12.3, "ohms-2w": 470.0})
        found = []
        for _ in range(4):
            if also:
                meter("MEAS:RES? 1000")
            found.append(meter("MEAS:VOLT? 100"))
        return found

    assert voltages(False) == voltages(True)
    assert len(set(voltages(False))) > 1


def test_over_range_and_nothing_to_measure() -> None:
    meter = Dialogue()
    meter.plant.terminals.update({"volts-dc": 11.9})
    assert abs(meter.value("MEAS:VOLT? 10") - 11.9) < 0.01  # up to 1.2 times the range
    meter.plant.terminals["volts-dc"] = 12.1
    assert meter("MEAS:VOLT? 10") == "9.90000000E+37"
    meter.plant.terminals["volts-dc"] = -12.1
    assert meter("MEAS:VOLT? 10") == "-9.90000000E+37"
    assert abs(meter.value("MEAS:VOLT? AUTO") + 12.1) < 0.01
    assert meter("MEAS:FRES? 1000") == "9.90000000E+37"  # nothing connected
    assert meter("MEAS:RES?") == "9.90000000E+37"
    meter.plant.terminals["diode"] = math.inf
    assert meter("MEAS:DIOD?") == "9.90000000E+37"
    assert meter("MEAS:FREQ?") == "9.91000000E+37"
    meter.plant.terminals["volts-ac"] = math.nan
    assert meter("MEAS:VOLT:AC?") == "9.91000000E+37"


def test_what_things_cost() -> None:
    meter = Dialogue()
    meter("*IDN?")
    assert meter.seconds == LINE_SECONDS
    meter("CONF:VOLT:DC 10")
    assert meter.seconds == pytest.approx(LINE_SECONDS + CONFIGURE_SECONDS)
    meter("READ?")
    assert meter.seconds == pytest.approx(LINE_SECONDS + DC_SECONDS)
    meter("MEAS:VOLT:AC? 10")
    assert meter.seconds == pytest.approx(LINE_SECONDS + CONFIGURE_SECONDS + AC_SECONDS)
    meter("CONF:VOLT:DC 10;:INIT;:SYST:ERR?")
    assert meter.seconds == pytest.approx(LINE_SECONDS + CONFIGURE_SECONDS)  # the reading goes on behind it
    meter.now = 0.1
    meter("*OPC?")
    assert meter.seconds == pytest.approx(LINE_SECONDS + DC_SECONDS - 0.1)
    meter.now = 1.0
    meter("FETC?")
    assert meter.seconds == LINE_SECONDS


def test_init_and_fetch_of_one_reading_keep_the_value_of_the_trigger() -> None:
    meter = Dialogue()
    meter.plant.terminals["volts-dc"] = 5.0
    meter("CONF:VOLT 10;:INIT")
    meter.plant.terminals["volts-dc"] = 9.0
    first = meter.value("FETC?")
    assert abs(first - 5.0) < 0.001
    assert meter.value("FETC?") == first
    assert abs(meter.value("READ?") - 9.0) < 0.001
    meter("*RST")
    assert meter("FETC?") is None


def test_a_record_starts_at_its_trigger_and_shows_the_waveform() -> None:
    meter = Dialogue()
    meter.now = 3.0
    assert meter("CONF:VOLT:DC 0.1;:SENS:SWE:POIN 120;:SENS:SWE:TINT 1e-3;:SYST:ERR?") == '0,"No error"'
    assert meter("INIT;:SYST:ERR?") == '0,"No error"'
    assert meter.seconds == LINE_SECONDS
    meter.now = 3.2
    values = [float(word) for word in str(meter("FETC?")).split(",")]
    assert meter.seconds == LINE_SECONDS
    assert len(values) == 120
    limit = 5e-5 * 0.05 + 4e-5 * 0.1
    for k, value in enumerate(values):
        assert abs(value - 0.05 * (1 - math.exp(-k * 1e-3 / RISE))) <= limit
    assert len(set(values[60:])) > 10, "noise on every sample"
    meter("CONF:VOLT:DC 0.1")
    assert meter("SWE:POIN?") == "1"  # CONFigure goes back to single readings


def test_a_record_asked_too_early_takes_the_rest_of_its_time() -> None:
    meter = Dialogue()
    meter("CONF:VOLT:DC 0.1;:SENS:SWE:POIN 101;:SENS:SWE:TINT 1e-3;:INIT")
    meter.now = 0.04
    meter("FETC?")
    assert meter.seconds == pytest.approx(LINE_SECONDS + 0.06)
    assert meter.plant.now == pytest.approx(0.1)
    meter.now = 0.2
    meter("READ?")
    assert meter.seconds == pytest.approx(LINE_SECONDS + 0.1)


def over_visa(
    work: Callable[[LockstepClock, Callable[[str], Awaitable[str]], FakePlant], Awaitable[None]],
) -> None:
    """Run with a `query` that asks through pyvisa in a daemon thread; the thread never sees the clock."""

    async def run() -> None:
        plant, clock = FakePlant(), LockstepClock()
        meter = Meter(plant)
        end = ScpiInstrument(meter.interpreter, meter.advance)
        link = TcpListener(Link("meter", end, Pace(clock.now, clock), {"meter": 0}))
        host, port = await link.open()
        loop = asyncio.get_running_loop()
        opened: list[Any] = []

        def in_thread(line: str, answer: asyncio.Future[str]) -> None:
            if not opened:
                resource: Any = pyvisa.ResourceManager("@py").open_resource(f"TCPIP::{host}::{port}::SOCKET")
                resource.read_termination = resource.write_termination = "\n"
                resource.timeout = 300
                opened.append(resource)
            try:
                text = opened[0].query(line)
            except pyvisa.VisaIOError:
                text = "timed out"
            loop.call_soon_threadsafe(lambda: answer.done() or answer.set_result(text))

        async def query(line: str) -> str:
            answer: asyncio.Future[str] = loop.create_future()
            thread = threading.Thread(target=in_thread, args=(line, answer), daemon=True)
            thread.start()
            try:
                return await answer
            finally:
                if answer.cancelled():
                    await asyncio.to_thread(thread.join)

        try:
            await work(clock, query, plant)
        finally:
            for resource in opened:
                resource.close()
            await link.close()

    asyncio.run(run())


def test_over_the_socket_with_pyvisa() -> None:
    async def work(clock: LockstepClock, query: Callable[[str], Awaitable[str]], plant: FakePlant) -> None:
        async def ask(line: str) -> str:
            return await clock.exchange("meter", lambda: query(line), 5.0)

        assert await ask("*IDN?") == IDENTITY
        assert clock.now() == LINE_SECONDS
        plant.terminals["volts-dc"] = 24.0
        assert await ask("CONF:VOLT:DC 100;:SYST:ERR?") == '0,"No error"'
        assert abs(float(await ask("READ?")) - 24.0) < 0.003
        assert clock.now() == pytest.approx(3 * LINE_SECONDS + CONFIGURE_SECONDS + DC_SECONDS)
        await ask("CONF:VOLT:DC 0.1;:SENS:SWE:POIN 1200;:SENS:SWE:TINT 1e-4;:SYST:ERR?")
        await ask("INIT;:SYST:ERR?")
        record = await ask("FETC?")
        assert len(record.split(",")) == 1200
        assert plant.now < clock.now()

    over_visa(work)


def test_a_query_that_cannot_be_answered_is_silent_for_the_timeout() -> None:
    async def work(clock: LockstepClock, query: Callable[[str], Awaitable[str]], plant: FakePlant) -> None:
        with pytest.raises(TimeoutError, match="no answer on meter within 5 s"):
            await clock.exchange("meter", lambda: query("FETC?"), 5.0)
        assert clock.now() == 5.0
        assert await clock.exchange("meter", lambda: query("SYST:ERR?"), 5.0) == '-230,"Data corrupt or stale"'

    over_visa(work)
