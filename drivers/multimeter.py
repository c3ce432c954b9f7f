"""A bench multimeter that speaks SCPI, over VISA."""

from __future__ import annotations

import math
from typing import Any

from drivers.visa_thread import VisaLink
from rig.bench.ports import Answer, Connection
from rig.errors import BadAnswer, Declined, NoAnswer, OverRange
from rig.plan.wiring import InstrumentSpec

# An AC reading with its filter takes up to 2 s (common practice, no source); a record its own length besides.
ANSWER_WITHIN = 5.0

# The words of procedures in SCPI-99, and the unit that the bench file's ranges are in.
FUNCTIONS = {
    "DC volts": ("VOLT:DC", "V"),
    "AC volts": ("VOLT:AC", "V"),
    "DC amps": ("CURR:DC", "A"),
    "AC amps": ("CURR:AC", "A"),
    "resistance": ("RES", "Ohm"),
    "resistance four-wire": ("FRES", "Ohm"),
    "diode": ("DIOD", "V"),
    "continuity": ("CONT", "Ohm"),
    "frequency": ("FREQ", "Hz"),
}

INFINITY, NOT_A_NUMBER = 9.9e37, 9.91e37  # SCPI-99 volume 1, 7.2.1


def reading(text: str, name: str) -> float:
    """The number in a meter's answer. Raises OverRange for ±9.9E37, BadAnswer for 9.91E37 and for anything else that
    is not one finite number."""
    word = text.strip()
    try:
        value = float(word) if word.isascii() and "_" not in word else math.nan
    except ValueError:
        value = math.nan
    if math.isclose(abs(value), INFINITY, rel_tol=1e-6):
        raise OverRange("the value lies beyond the range", "Check the range, or whether the circuit is open.", name)
    if math.isclose(value, NOT_A_NUMBER, rel_tol=1e-6):
        raise BadAnswer("the meter says that it has no value", "Check leads and function.", name)
    if not math.isfinite(value) or abs(value) > 1e30:
        raise BadAnswer(f"answered {word[:40]!r}, expected a number", "Check that this meter speaks SCPI.", name)
    return value


class ScpiMultimeter:
    """Every exchange is one line with one answer: a setting is sent with a query for errors behind it."""

    def __init__(self, connection: Connection) -> None:
        self.name = connection.name
        self._clock, self._link_name = connection.clock, connection.link_name
        self._resource = connection.link.address
        self._ranges = _ranges(connection.spec)
        self._link: VisaLink | None = None
        self._set_to = ""

    async def identify(self) -> str:
        answer = await self._query("*IDN?")
        fields = answer.value.split(",")
        if len(fields) != 4:
            raise BadAnswer(f"*IDN? gave {answer.value[:60]!r}, expected four fields", culprit=self.name)
        return fields[2].strip()

    async def measure(self, function: str, full_scale: float | None) -> Answer[float]:
        await self._configure(f"CONF:{FUNCTIONS[function][0]} {self._scale(function, full_scale)}")
        answer = await self._query("READ?")
        return Answer(self._number(answer.value), answer.asked, answer.had)

    async def start_record(self, full_scale: float, interval: float, count: int) -> Answer[None]:
        scale = self._scale("DC volts", full_scale)
        await self._configure(f"CONF:VOLT:DC {scale};:SENS:SWE:POIN {count};:SENS:SWE:TINT {interval:.9g}")
        return await self._command("INIT")

    async def fetch_record(self) -> Answer[tuple[float, ...]]:
        answer = await self._query("FETC?")
        values = tuple(self._number(word) for word in answer.value.split(","))
        self._set_to = ""  # the next reading is a single one again, and must say so
        await self._command("SENS:SWE:POIN 1")
        return Answer(values, answer.asked, answer.had)

    def range_for(self, function: str, full_scale: float | None) -> float | None:
        ranges = self._ranges.get(function, [])
        return next((r for r in ranges if full_scale is not None and r >= full_scale * (1 - 1e-9)), None)

    async def close(self) -> None:
        self._drop()

    def _scale(self, function: str, full_scale: float | None) -> str:
        chosen = self.range_for(function, full_scale)
        return f"{chosen if chosen is not None else full_scale:.9g}" if full_scale is not None else "DEF"

    async def _configure(self, command: str) -> None:
        if command != self._set_to:
            self._set_to = ""
            await self._command(command)
            self._set_to = command

    async def _command(self, command: str) -> Answer[None]:
        answer = await self._query(f"{command};:SYST:ERR?")
        if not answer.value.lstrip("+").startswith("0"):
            raise Declined(f"refused {command!r}: {answer.value[:80]}", "Check the function and range.", self.name)
        return Answer(None, answer.asked, answer.had)

    async def _query(self, line: str) -> Answer[str]:
        asked = 0.0

        async def exchange() -> str:
            nonlocal asked
            link = self._link = self._link or VisaLink(self._resource, self.name)
            asked = self._clock.now()
            try:
                return await link.query(line)
            except BaseException:
                self._drop()  # its answer may still come, and must not be taken for that of the next question
                raise

        try:
            text = await self._clock.exchange(self._link_name, exchange, ANSWER_WITHIN)
        except TimeoutError:
            raise NoAnswer(
                f"no answer within {ANSWER_WITHIN:g} s", f"Check power and cable ({self._resource}).", self.name
            ) from None
        return Answer(text, asked, self._clock.now())

    def _number(self, text: str) -> float:
        try:
            return reading(text, self.name)
        except OverRange:
            raise
        except BadAnswer:
            self._drop()  # whatever that was, the next answer is only believed on a fresh link
            raise

    def _drop(self) -> None:
        link, self._link, self._set_to = self._link, None, ""
        if link is not None:
            link.drop()


def _ranges(spec: InstrumentSpec) -> dict[str, list[float]]:
    """Known ranges of each function, ascending, in the function's unit."""
    found: dict[str, list[float]] = {}
    for line in spec.accuracy:
        found.setdefault(line.function, []).append(line.range.to(FUNCTIONS[line.function][1]))
    return {function: sorted(ranges) for function, ranges in found.items()}


async def open_multimeter(connection: Connection, shared: dict[str, Any]) -> ScpiMultimeter:
    """Open a multimeter; the link itself opens with the first question."""
    return ScpiMultimeter(connection)
