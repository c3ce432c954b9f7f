"""A bench multimeter that speaks SCPI, over VISA.

Every exchange is one line with one answer. The line bears a stamp, which the answer must give back (the event status
enable register, *ESE, holds any number and does nothing else here), and asks for the event status (*ESR?), where a
restart and every refused command show: IEEE 488.2, 10.10, 11.5.1.
"""

from __future__ import annotations

import math
from typing import Any

from drivers.dialects import METERS, MeterDialect, chosen
from drivers.visa_line import VisaLine
from rig.bench.ports import Answer, Connection
from rig.errors import BadAnswer, Declined, OverRange
from rig.plan.wiring import InstrumentSpec

# An AC reading with its filter takes up to 2 s (common practice, no source); a record its own length besides.
ANSWER_WITHIN = 5.0

INFINITY, NOT_A_NUMBER = 9.9e37, 9.91e37  # SCPI-99 volume 1, 7.2.1
POWER_ON, ERRORS = 128, 32 + 16 + 8 + 4  # bits of the event status: restarted; command, execution, device, query
STAMPS = 255
RESISTANCES = ("resistance", "resistance four-wire", "continuity")
NEGATIVE = 1e-3  # of the range that a resistance of nothing may read below zero: a drifted zero, not a lost sign


def reading(text: str, name: str) -> float:
    """The number in a meter's answer. Raises OverRange for ±9.9E37, BadAnswer for 9.91E37 and for anything else that
    is not one finite number."""
    word = text.strip()
    try:
        value = float(word) if word.isascii() and "_" not in word else math.nan
    except ValueError:
        value = math.nan
    if math.isclose(abs(value), INFINITY, rel_tol=1e-6):
        what = f"the value lies beyond the range ({word[:20]})"
        raise OverRange(what, "Check the range, or whether the circuit is open.", name, (value,))
    if math.isclose(value, NOT_A_NUMBER, rel_tol=1e-6):
        raise BadAnswer("the meter says that it has no value", "Check leads and function.", name)
    if not math.isfinite(value) or abs(value) > 1e30:
        raise BadAnswer(f"answered {word[:40]!r}, expected a number", "Check that this meter speaks SCPI.", name)
    return value


def _four_fields(text: str) -> bool:
    return len(text.split(",")) == 4


class ScpiMultimeter:
    """One meter in one dialect."""

    def __init__(self, connection: Connection) -> None:
        self.name = connection.name
        self._dialect: MeterDialect = METERS[chosen(METERS, connection.spec.map, connection.name)]
        self._ranges = _ranges(connection.spec, self._dialect)
        self._line = VisaLine(connection, self._dialect.who, _four_fields, ANSWER_WITHIN)
        self._set_to = ("", -1)  # the command that it was last set up with, and on which opening of the link
        self._stamp = 0
        self._points = 0  # of the record that was started

    async def identify(self) -> str:
        return (await self._line.identity()).split(",")[2].strip()

    async def measure(self, function: str, full_scale: float | None) -> Answer[float]:
        header = self._dialect.functions[function][0]
        await self._configure(self._dialect.configure.format(function=header, scale=self._scale(function, full_scale)))
        answer = await self._asked(self._dialect.read)
        value = self._number(answer.value)
        if function in RESISTANCES and value < -NEGATIVE * (full_scale or 1.0):
            raise self._line.not_believed(f"{answer.value} is a resistance below zero")
        return Answer(value, answer.asked, answer.had)

    async def start_record(self, full_scale: float, interval: float, count: int) -> Answer[None]:
        header, scale = self._dialect.functions["DC volts"][0], self._scale("DC volts", full_scale)
        await self._configure(self._dialect.record.format(function=header, scale=scale, count=count, interval=interval))
        self._points = count
        return await self._command(self._dialect.start, clear=False)

    async def fetch_record(self) -> Answer[tuple[float, ...]]:
        answer = await self._asked(self._dialect.fetch)
        words = answer.value.split(",")
        if len(words) != self._points:
            raise self._line.not_believed(f"a record of {self._points} values was asked for, and {len(words)} came")
        values = tuple(self._number(word) for word in words)
        self._set_to = ("", -1)  # the next reading is a single one again, and must say so
        await self._command(self._dialect.single)
        return Answer(values, answer.asked, answer.had)

    def range_for(self, function: str, full_scale: float | None) -> float | None:
        ranges = self._ranges.get(function, [])
        if function in self._dialect.unranged:
            return ranges[0] if len(ranges) == 1 else None
        return next((r for r in ranges if full_scale is not None and r >= full_scale * (1 - 1e-9)), None)

    async def close(self) -> None:
        self._line.drop()

    def _scale(self, function: str, full_scale: float | None) -> str:
        if function in self._dialect.unranged:
            return "DEF"
        used = self.range_for(function, full_scale)
        return f"{used if used is not None else full_scale:.9g}" if full_scale is not None else "DEF"

    async def _configure(self, command: str) -> None:
        """Set it up, unless it is known to be set up so."""
        if self._dialect.stamped and self._set_to == (command, self._line.openings):
            return
        self._set_to = ("", -1)
        await self._command(command)
        self._set_to = (command, self._line.openings)

    async def _command(self, command: str, clear: bool = True) -> Answer[None]:
        """A command without an answer of its own: the error that it leaves is asked for. ``clear`` forgets what was
        wrong before."""
        answer = await self._asked(f"{command};:{self._dialect.error}", before="*CLS;" if clear else "")
        if not answer.value.lstrip("+").startswith("0,"):
            raise Declined(f"refused {command!r}: {answer.value[:80]}", "Check the function and range.", self.name)
        return Answer(None, answer.asked, answer.had)

    async def _asked(self, query: str, before: str = "") -> Answer[str]:
        """What a query answers, from the meter that was asked, to what it was asked."""
        if not self._dialect.stamped:
            return await self._line.ask(f"{before}:{query}" if before else query)
        self._stamp = self._stamp % STAMPS + 1
        answer = await self._line.ask(f"{before}*ESE {self._stamp};*ESE?;:{query};*ESR?")
        stamp, _, rest = answer.value.partition(";")
        body, _, status = rest.rpartition(";")
        if stamp.lstrip("+") != str(self._stamp) or not status.lstrip("+").isdigit():
            raise self._line.not_believed(f"asked {query!r} with stamp {self._stamp} it says {answer.value[:60]!r}")
        if int(status) & POWER_ON:
            raise self._line.not_believed("it has lost its power meanwhile, and its settings with it")
        if int(status) & ERRORS and not body:
            said = (await self._line.ask(self._dialect.error)).value
            raise Declined(f"refused {query!r}: {said[:80]}", "Check the function and range.", self.name)
        return Answer(body, answer.asked, answer.had)

    def _number(self, text: str) -> float:
        """One number in the dialect's form. Whatever else it is, the next answer is only believed on a fresh link."""
        if not self._dialect.number.fullmatch(text.strip()):
            raise self._line.not_believed(f"{text[:40]!r} is not a number as this meter writes them")
        return reading(text, self.name)


def _ranges(spec: InstrumentSpec, dialect: MeterDialect) -> dict[str, list[float]]:
    """Known ranges of each function, ascending, in the function's unit."""
    found: dict[str, list[float]] = {}
    for line in spec.accuracy:
        found.setdefault(line.function, []).append(line.range.to(dialect.functions[line.function][1]))
    return {function: sorted(ranges) for function, ranges in found.items()}


async def open_multimeter(connection: Connection, shared: dict[str, Any]) -> ScpiMultimeter:
    """Open a multimeter; the link itself opens with the first question."""
    return ScpiMultimeter(connection)
