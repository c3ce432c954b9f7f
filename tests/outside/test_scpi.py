"""What SCPI-99 and IEEE 488.2 fix, against the simulated meter.

Sources: SCPI-99 volume 1, 7.2.1 (9.9E37 infinity, 9.91E37 not a number), 21.8 (error numbers and texts), 6
(headers); IEEE 488.2-1992, 10.14 (*IDN?: four fields), 11.5.1 (event status bits), 8.7 (NR1, NR2, NR3). The
sentinels are repeated in several makers' guides; clause numbers and texts other than -113 are from memory.
"""

import math
import re
from collections.abc import Sequence

import pytest

from simulators.wire.meter import NO_VALUE, OVER_RANGE, Meter
from simulators.wire.scpi import TEXTS

NR3 = r"[+-]?\d+\.\d+E[+-]\d+"


class OpenTerminals:
    """Nothing is connected to the meter, or one value is."""

    def __init__(self, value: float = math.inf) -> None:
        self.value = value

    def advance(self, now: float) -> None:
        """Nothing moves."""

    def meter_sees(self, function: str) -> float:
        return self.value

    def meter_waveform(self, start: float, interval: float, count: int) -> list[float]:
        return [self.value] * count

    def set_coil(self, board: int, channel: int, on: bool) -> None:
        raise NotImplementedError

    def coils(self, board: int) -> list[bool]:
        raise NotImplementedError

    def inputs(self) -> list[bool]:
        raise NotImplementedError

    def quantity(self, channel: int) -> float:
        raise NotImplementedError

    def person(
        self, verb: str, thing: str, kind: str, options: Sequence[str], unit: str
    ) -> tuple[bool | str | float | None, float]:
        raise NotImplementedError


def ask(meter: Meter, line: str) -> str:
    answer = meter.interpreter.line(line)
    assert answer.data is not None
    return answer.data.decode("ascii").rstrip("\n")


def test_infinity_and_not_a_number() -> None:
    assert (OVER_RANGE, NO_VALUE) == (9.9e37, 9.91e37)
    assert float(ask(Meter(OpenTerminals()), "MEAS:RES?")) == 9.9e37
    assert float(ask(Meter(OpenTerminals(-500.0)), "MEAS:VOLT? 100")) == -9.9e37
    assert float(ask(Meter(OpenTerminals(math.nan)), "MEAS:FREQ?")) == 9.91e37


@pytest.mark.parametrize("value", [0.0, 1.25e-3, -7.5, 9.1e5, math.inf, math.nan])
def test_readings_are_nr3(value: float) -> None:
    assert re.fullmatch(NR3, ask(Meter(OpenTerminals(value)), "MEAS:RES?"))
    assert re.fullmatch(NR3, ask(Meter(OpenTerminals(value)), "MEAS:VOLT?"))


def test_the_error_queue_is_empty_at_first_and_says_so() -> None:
    assert ask(Meter(OpenTerminals()), "SYST:ERR?") == '0,"No error"'
    assert ask(Meter(OpenTerminals()), ":SYSTem:ERRor:NEXT?") == '0,"No error"'


@pytest.mark.parametrize(
    ("number", "text"),
    [
        (0, "No error"),
        (-102, "Syntax error"),
        (-104, "Data type error"),
        (-108, "Parameter not allowed"),
        (-109, "Missing parameter"),
        (-113, "Undefined header"),
        (-221, "Settings conflict"),
        (-222, "Data out of range"),
        (-224, "Illegal parameter value"),
        (-230, "Data corrupt or stale"),
        (-350, "Queue overflow"),
    ],
)
def test_error_texts(number: int, text: str) -> None:
    assert TEXTS[number] == text


@pytest.mark.parametrize(("line", "bit"), [("FOO", 32), ("CONF:VOLT 1e9", 16), ("*OPC", 1)], ids=["CME", "EXE", "OPC"])
def test_event_status_bits(line: str, bit: int) -> None:
    """-1xx sets command error (bit 5), -2xx execution error (bit 4); reading clears; power on is bit 7."""
    meter = Meter(OpenTerminals())
    assert ask(meter, "*ESR?") == "128"
    meter.interpreter.line(line)
    assert ask(meter, "*ESR?") == str(bit)
    assert ask(meter, "*ESR?") == "0"


def test_an_overflow_of_the_queue_is_a_device_error() -> None:
    meter = Meter(OpenTerminals())
    ask(meter, "*ESR?")
    for _ in range(100):
        meter.interpreter.line("FOO")
    assert ask(meter, "*ESR?") == str(32 + 8)


def test_identification_has_four_fields() -> None:
    fields = ask(Meter(OpenTerminals()), "*IDN?").split(",")
    assert len(fields) == 4
    assert all(fields)
    assert all(32 <= ord(letter) < 127 for letter in "".join(fields))


def test_several_answers_of_one_line_are_joined_by_semicolons() -> None:
    """IEEE 488.2, 8.4.1 (response message units; from memory)."""
    assert ask(Meter(OpenTerminals()), "*OPC?;*ESR?;:SYST:ERR?") == '1;128;0,"No error"'
