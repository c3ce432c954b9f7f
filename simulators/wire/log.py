"""The wire log: every request and every answer with its time, its bytes and what they mean, as JSON lines.

One object a line, in order of time. Whoever records, at either end of a wire, writes the same fields:

    us          whole microseconds since the recording began, on the recorder's clock
    link        the wire's name in the bench file, such as "modbus"
    wire        "modbus-tcp", "modbus-rtu" or "lines"
    instrument  its name in the bench file; "" where it is not known
    way         "ask" (towards the instrument), "say" (from it), "end" (its side ended the connection)
    raw         the bytes in hexadecimal: for "ask" one whole request as it was sent, without the end of a line;
                for "say" what came together, with all ends of lines; absent for "end"
    how         for "end": "reset" or "close"
    words       what the bytes mean: for Modbus transaction, device, function, address, count, values, bits
                (lowest address first) or exception; for lines the text. {"damaged": true} if they mean nothing.

Readers ignore fields that they do not know, and take `raw` for the truth: `words` are for people. Lines with
`about` instead of `way` are of whoever recorded, not of the wire, and are left out.
"""

import json
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, TextIO

from simulators.wire.delivery import End
from simulators.wire.frames import Frames

ASK, SAY, END = "ask", "say", "end"


class WireLog:
    """Writes a log to an open text stream, a line at a time."""

    def __init__(self, out: TextIO) -> None:
        self._out = out

    def asked(self, link: str, instrument: str, data: bytes, frames: Frames, now: float) -> None:
        """A whole request has come, at `now` seconds."""
        words = frames.words(data, asked=True)
        self._write(now, link, frames, instrument, {"way": ASK, "raw": data.hex(), "words": words})

    def said(self, link: str, instrument: str, what: bytes | End, frames: Frames, now: float) -> None:
        """Bytes have left, or the connection was ended, at `now` seconds."""
        if isinstance(what, End):
            entry: dict[str, Any] = {"way": END, "how": what.value}
        else:
            entry = {"way": SAY, "raw": what.hex(), "words": frames.words(what, asked=False)}
        self._write(now, link, frames, instrument, entry)

    def _write(self, now: float, link: str, frames: Frames, instrument: str, entry: dict[str, Any]) -> None:
        head = {"us": round(now * 1e6), "link": link, "wire": frames.wire, "instrument": instrument}
        self._out.write(json.dumps(head | entry) + "\n")


@dataclass(frozen=True)
class Entry:
    """One line of a log; `what` is the bytes, or how the connection ended."""

    us: int
    link: str
    wire: str
    instrument: str
    way: str
    what: bytes | End
    words: dict[str, Any]


def read_log(lines: Iterable[str]) -> Iterator[Entry]:
    """The entries of a log. Raises ValueError with the line's number for one that cannot be read."""
    for number, line in enumerate(lines, 1):
        if line.strip():
            try:
                found = json.loads(line)
                if "way" in found or "about" not in found:
                    yield _entry(found)
            except (ValueError, KeyError, TypeError) as error:
                raise ValueError(f"line {number} of the wire log: {error!r}") from error


def load_log(path: Path) -> list[Entry]:
    """All entries of a log file. Raises OSError, ValueError."""
    with path.open(encoding="utf-8") as lines:
        return list(read_log(lines))


def _entry(found: dict[str, Any]) -> Entry:
    way = found["way"]
    if way not in (ASK, SAY, END):
        raise ValueError(f"way {way!r}")
    what = End(found["how"]) if way == END else bytes.fromhex(found["raw"])
    link, wire, instrument = (str(found[name]) for name in ("link", "wire", "instrument"))
    return Entry(int(found["us"]), link, wire, instrument, way, what, dict(found.get("words") or {}))
