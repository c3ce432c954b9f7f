"""SCPI as bytes and words: lines, headers, parameters, errors. What a command does is somebody else's.

Headers after SCPI-99 volume 1, chapter 6: long and short forms, either case, optional nodes, a path that
carries on behind a semicolon until a leading colon resets it, common commands (*...) that leave it alone.
Errors after chapter 21.8, event status after IEEE 488.2, 11.5.1 (clause numbers from memory).
"""

import itertools
import re
from collections import deque
from collections.abc import Callable, Mapping
from dataclasses import dataclass

from simulators.wire import Answer, Question
from simulators.wire.frames import LineFrames

QUEUE_LENGTH = 20  # errors kept; the last place tells of an overflow
LINE_SECONDS = 0.003  # to parse and answer a line that measures nothing

POWER_ON, COMMAND_ERROR, EXECUTION_ERROR, DEVICE_ERROR, QUERY_ERROR, OPERATION_COMPLETE = 128, 32, 16, 8, 4, 1

READERS = ("READ", "FETC", "MEAS")  # headers (short forms) that ask for readings

TEXTS = {
    0: "No error",
    -102: "Syntax error",
    -104: "Data type error",
    -108: "Parameter not allowed",
    -109: "Missing parameter",
    -113: "Undefined header",
    -221: "Settings conflict",
    -222: "Data out of range",
    -224: "Illegal parameter value",
    -230: "Data corrupt or stale",
    -350: "Queue overflow",
}


class ScpiError(Exception):
    """A command that is refused: it goes to the error queue under its SCPI number."""

    def __init__(self, number: int) -> None:
        super().__init__(f'{number},"{TEXTS[number]}"')
        self.number = number


@dataclass(frozen=True)
class Reply:
    """What one command says (None: nothing) and the seconds that it takes."""

    text: str | None = None
    seconds: float = 0.0


Handler = Callable[[list[str]], Reply]


def spellings(header: str) -> list[str]:
    """All accepted forms, in capitals, of a header such as "[SENSe:]SWEep:POINts"."""
    choices: list[list[str]] = []
    for optional, node in re.findall(r"(\[)?:?([*A-Za-z]+\??)", header):
        query = "?" if node.endswith("?") else ""
        name = node.rstrip("?")
        short = "".join(letter for letter in name if not letter.islower())
        forms = list(dict.fromkeys((short + query, name.upper() + query)))
        choices.append([*forms, ""] if optional else forms)
    suffix = "?" if header.endswith("?") else ""
    found = (":".join(node.rstrip("?") for node in nodes if node) for nodes in itertools.product(*choices))
    return [spelling + suffix for spelling in found]


class Interpreter:
    """Lines in, lines out, for one instrument: the header table, the error queue, the event status."""

    def __init__(self, commands: Mapping[str, Handler]) -> None:
        every = {
            **commands,
            "*CLS": self._clear,
            "*ESR?": self._event_status,
            "*ESE": self._enable,
            "*ESE?": self._enabled,
            "SYSTem:ERRor[:NEXT]?": self._error,
        }
        self._table = {spelling: handler for header, handler in every.items() for spelling in spellings(header)}
        self._errors: deque[int] = deque()
        self._events = POWER_ON
        self._events_enabled = 0

    def line(self, text: str) -> Answer:
        """Obey one line. A query that cannot be answered leaves an error in the queue, and silence."""
        replies: list[Reply] = []
        path, asked = "", False
        for unit in filter(None, (unit.strip() for unit in text.split(";"))):
            header, *rest = unit.split(None, 1)
            asked = asked or header.endswith("?")
            try:
                handler, path = self._find(header, path)
                replies.append(handler([word.strip() for word in rest[0].split(",")] if rest else []))
            except ScpiError as error:
                self._queue(error.number)
        said = [reply.text for reply in replies if reply.text is not None]
        seconds = LINE_SECONDS + sum(reply.seconds for reply in replies)
        if said:
            return Answer((";".join(said) + "\n").encode("ascii"), seconds)
        return Answer(None, seconds, silent=asked)

    def power_on(self) -> None:
        """The errors are gone, and bit 7 of the event status says why."""
        self._errors.clear()
        self._events = POWER_ON

    def operation_complete(self) -> None:
        """*OPC: sets bit 0 of the event status."""
        self._events |= OPERATION_COMPLETE

    def _find(self, header: str, path: str) -> tuple[Handler, str]:
        word = header.upper()
        if not re.fullmatch(r"\*[A-Z]+\??|:?[A-Z]+(:[A-Z]+)*\??", word):
            raise ScpiError(-102)
        if not word.startswith("*"):
            word = word[1:] if word.startswith(":") else path + word
            path = word[: word.rfind(":") + 1]
        handler = self._table.get(word)
        if handler is None:
            raise ScpiError(-113)
        return handler, path

    def _queue(self, number: int) -> None:
        bits = {1: COMMAND_ERROR, 2: EXECUTION_ERROR, 3: DEVICE_ERROR, 4: QUERY_ERROR}
        self._events |= bits[-number // 100]
        if len(self._errors) < QUEUE_LENGTH:
            self._errors.append(number)
        else:
            self._errors[-1] = -350
            self._events |= DEVICE_ERROR

    def _error(self, parameters: list[str]) -> Reply:
        none(parameters)
        number = self._errors.popleft() if self._errors else 0
        return Reply(f'{number},"{TEXTS[number]}"')

    def _event_status(self, parameters: list[str]) -> Reply:
        none(parameters)
        events, self._events = self._events, 0
        return Reply(str(events))

    def _enable(self, parameters: list[str]) -> Reply:
        """Which events are summarised in the status byte: kept and given back, nothing here asks for that byte."""
        if len(parameters) != 1:
            raise ScpiError(-109 if not parameters else -108)
        self._events_enabled = int(number(parameters[0], 0, 255))
        return Reply()

    def _enabled(self, parameters: list[str]) -> Reply:
        none(parameters)
        return Reply(str(self._events_enabled))

    def _clear(self, parameters: list[str]) -> Reply:
        none(parameters)
        self._errors.clear()
        self._events = 0
        return Reply()


class ScpiInstrument:
    """The far end of a SCPI link: an interpreter; the plant is brought up to date before each line."""

    def __init__(self, interpreter: Interpreter, advance: Callable[[float], None], name: str = "meter-1") -> None:
        self.frames = LineFrames()
        self._interpreter = interpreter
        self._advance = advance
        self._name = name

    def question(self, request: bytes) -> Question:
        """The headers of a line, in capitals and without a leading colon."""
        units = filter(None, (unit.strip() for unit in request.decode("ascii", "replace").upper().split(";")))
        words = tuple(unit.split(None, 1)[0].lstrip(":") for unit in units)
        reads = any(word.endswith("?") and word.startswith(READERS) for word in words)
        return Question(self._name, "meter", words, reads, "*IDN?" in words)

    def serve(self, request: bytes, now: float) -> Answer:
        """Obey one line at `now`."""
        self._advance(now)
        text = request.decode("ascii", "replace").strip()
        return self._interpreter.line(text) if text else Answer(None)


def none(parameters: list[str]) -> None:
    """Raises ScpiError -108 unless a command came without parameters."""
    if parameters:
        raise ScpiError(-108)


def number(word: str, low: float, high: float) -> float:
    """A decimal number (NRf) within its bounds. Raises ScpiError -104 or -222."""
    if not re.fullmatch(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?", word):
        raise ScpiError(-104)
    value = float(word)
    if not low <= value <= high:
        raise ScpiError(-222)
    return value
