"""Lines that are no number, not quite one, or more than one; and an instrument that gives another name.

SCPI's words for infinity and not-a-number: SCPI-99 volume 1, 7.2.1.
"""

import re
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial

from simulators.wire import Question
from simulators.wire.delivery import Delivery
from simulators.wire.fault import LINES, METER, Exchange, Fault, Kind, Reading

NUMBER = re.compile(r"[+-]?\d+\.?\d*(?:[eE][+-]?\d+)?")


class Line(Fault):
    """Rewrites the one line of an answer, without and then with its end."""

    tail = b"\n"

    def bend(self, exchange: Exchange, delivery: Delivery) -> Delivery:
        if delivery.data is None:
            return delivery
        said = self.line(delivery.data.rstrip(b"\n").decode("ascii"))
        return delivery.saying(said.encode("latin-1") + self.tail)

    def line(self, text: str) -> str:
        """The line instead of this one."""
        return text


class NumberLine(Reading, Line):
    """Rewrites one number of a reading: the only one, or the middle one of a record."""

    def line(self, text: str) -> str:
        found = list(NUMBER.finditer(text))
        if not found:
            return text
        number = found[len(found) // 2]
        return text[: number.start()] + self.number(number.group()) + text[number.end() :]

    def number(self, word: str) -> str:
        """The word instead of this number."""
        return word


@dataclass
class Says(NumberLine):
    """Says `word` where the number should be."""

    word: str = ""

    def number(self, word: str) -> str:
        return self.word


@dataclass
class Around(NumberLine):
    """Puts something in front of the number, or behind it."""

    before: str = ""
    behind: str = ""

    def number(self, word: str) -> str:
        return self.before + word + self.behind


class DecimalComma(NumberLine):
    """Writes the number as half of Europe does."""

    def number(self, word: str) -> str:
        return word.replace(".", ",")


class SignLost(NumberLine):
    """Loses the sign of the number; puts one where none was."""

    def number(self, word: str) -> str:
        return word[1:] if word[0] in "+-" else "-" + word


@dataclass
class Cut(NumberLine):
    """Breaks off in the middle of the number, which is then a smaller or larger one; or behind its E."""

    in_exponent: bool = False

    def number(self, word: str) -> str:
        mantissa, e, _ = word.upper().partition("E")
        return mantissa + e if self.in_exponent else mantissa[: max(1, len(mantissa) // 2)]


@dataclass
class Ended(Reading, Line):
    """Another end of the line, or none."""

    ending: bytes = b""

    def __post_init__(self) -> None:
        self.tail = self.ending


class ErrorText(Reading, Line):
    """The text of an error instead of a value."""

    def line(self, text: str) -> str:
        return '-230,"Data corrupt or stale"'


class FrozenLine(Reading, Line):
    """Every reading is the first one again."""

    def __init__(self) -> None:
        self._first: str | None = None

    def line(self, text: str) -> str:
        self._first = text if self._first is None else self._first
        return self._first


class Empty(Reading, Line):
    """An empty line."""

    def line(self, text: str) -> str:
        return ""


class Extra(Reading, Line):
    """A line in front of the answer's own."""

    def line(self, text: str) -> str:
        return "\n" + text


class Endless(Reading, Line):
    """A line that does not end."""

    tail = b""

    def line(self, text: str) -> str:
        return "0" * 100_000


class ErrorsForEver(Line):
    """The error queue never empties."""

    def concerns(self, question: Question) -> bool:
        return any(word.startswith(("SYST:ERR", "SYSTEM:ERR")) for word in question.words)

    def line(self, text: str) -> str:
        return '-350,"Queue overflow"'


@dataclass
class Identity(Line):
    """Another serial number, or other fields, in the answer to *IDN?."""

    serial: str | None = None
    fields: int = 4

    def concerns(self, question: Question) -> bool:
        return question.identifies

    def line(self, text: str) -> str:
        parts = text.split(",")
        if len(parts) == 4 and self.serial is not None:
            parts[2] = self.serial
        return ",".join(parts[: self.fields])


def _kind(
    name: str,
    line: str,
    seen: str,
    make: Callable[..., Fault],
    sorts: frozenset[str] = LINES,
    takes: tuple[str, ...] = (),
) -> Kind:
    return Kind(name, line, seen, sorts, make, takes=takes)


_METER = frozenset({METER})
KINDS = (
    _kind("overflow", "says 9.9E37: beyond the range", "over range, though nothing is open",
          partial(Says, word="9.90000000E+37"), _METER),
    _kind("overflow-negative", "says -9.9E37", "over range, though nothing is open",
          partial(Says, word="-9.90000000E+37"), _METER),
    _kind("not-a-number", "says 9.91E37: not a number", "the meter has no value",
          partial(Says, word="9.91000000E+37"), _METER),
    _kind("nan-text", "says NAN", "no number; another dialect?", partial(Says, word="NAN")),
    _kind("inf-text", "says INF", "no number; another dialect?", partial(Says, word="INF")),
    _kind("empty-line", "an empty line", "the meter says nothing", Empty),
    _kind("decimal-comma", "a comma for the decimal point",
          "a number with a comma, or two numbers; language setting?", DecimalComma),
    _kind("prompt", "a prompt in front of the number", "a prompt in the answer; terminal mode on?",
          partial(Around, before="SCPI> ")),
    _kind("unit-behind", "the unit behind the number", "a unit in the answer; display mode on?",
          partial(Around, behind=" VDC")),
    _kind("trailing-junk", "junk behind the number", "junk in the answer; noise?",
          partial(Around, behind="~#x")),
    _kind("non-ascii", "bytes that are no ASCII in the number", "junk in the answer; parity or baud rate?",
          partial(Around, before="\xb0\xff")),
    _kind("two-numbers", "two numbers where one was asked", "two numbers; a record instead of a reading?",
          partial(Around, behind=",1.00000000E+00")),
    _kind("error-text", "an error's text instead of a number", "the meter names an error", ErrorText),
    _kind("no-terminator", "the line has no end", "no answer, and the next one is garbled", Ended),
    _kind("cr-only", "the line ends with CR alone", "no answer; line end setting?",
          partial(Ended, ending=b"\r")),
    _kind("crlf", "the line ends with CR LF", "nothing: both are common", partial(Ended, ending=b"\r\n")),
    _kind("number-cut", "the number breaks off in the middle", "a number of another size", Cut),
    _kind("number-cut-at-exponent", "the number breaks off behind its E", "no number",
          partial(Cut, in_exponent=True)),
    _kind("sign-lost", "the sign is lost, or there where none was", "a number with the wrong sign", SignLost),
    _kind("frozen-reading", "every reading is the first one again", "a reading that never changes",
          FrozenLine),
    _kind("hexadecimal", "a number in hexadecimal", "no number; format setting?", partial(Says, word="0x1F")),
    _kind("huge-number", "1E400, which no computer holds", "no number that can be",
          partial(Says, word="1.0E+400")),
    _kind("underscore", "1_000: a number only to some programs", "no number; what sent this?",
          partial(Says, word="1_000")),
    _kind("extra-line", "an empty line in front of the answer",
          "an empty answer, and the next one is an old one", Extra),
    _kind("endless-line", "100,000 digits and no end", "no answer", Endless),
    _kind("errors-for-ever", "its error queue never empties", "every command is said to have failed",
          ErrorsForEver, _METER),
    _kind("wrong-serial", "another serial number in *IDN?", "another instrument than the bench file says",
          partial(Identity, serial="SIM-X9"), _METER, ("serial",)),
    _kind("identity-short", "*IDN? gives three fields instead of four",
          "an identity that nobody understands", partial(Identity, fields=3), _METER),
)  # fmt: skip
