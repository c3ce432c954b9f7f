"""The wire log of a real bench: every question and every answer with its time, its bytes and what they mean.

One JSON object a line, as a simulated station writes them too (``simulators/README.md`` has the fields), so that
what went wrong on a bench can be played back where there is none. Lines with ``about`` instead of ``way`` are of the
run, not of the wire; whoever plays a log back leaves them out.
"""

from __future__ import annotations

import json
import threading
from collections.abc import Mapping
from pathlib import Path
from typing import Any, TextIO

from rig.bench.ports import Words
from rig.errors import InputError


class WireLog:
    """Writes a log to an open text stream. ``lost`` says why it is not whole, where it is not."""

    def __init__(self, out: TextIO) -> None:
        self._out = out
        self._lock = threading.Lock()  # an instrument with a thread of its own writes from there
        self.lost = ""

    @classmethod
    def create(cls, path: str) -> WireLog:
        """A log in a new file. Raises InputError for one that is there already, or cannot be made."""
        try:
            return cls(Path(path).open("x", encoding="utf-8", buffering=1))
        except FileExistsError:
            raise InputError("there is such a file already, and a wire log overwrites none", "Name a new file.",
                             path) from None  # fmt: skip
        except (OSError, ValueError) as error:
            reason = getattr(error, "strerror", None) or "it is no path that can be written to"
            raise InputError(f"the wire log cannot be written: {reason}", "Name another file.", path) from None

    def link(self, link: str, wire: str, words: Words) -> LinkLog:
        """What keeps the bytes of one link."""
        return LinkLog(self, link, wire, words)

    def tell(self, about: str, at: float, **fields: Any) -> None:
        """A line about the run."""
        self.write({"us": _us(at), "about": about, **fields})

    def write(self, line: Mapping[str, Any]) -> None:
        """One line. A log that cannot be kept must not hold up a run: the first failure ends it."""
        with self._lock:
            if self.lost or self._out.closed:
                return
            try:
                self._out.write(json.dumps(line) + "\n")
            except OSError as error:
                self.lost = error.strerror or str(error)

    def close(self) -> None:
        """Close the file."""
        with self._lock:
            try:
                self._out.close()
            except OSError as error:
                self.lost = self.lost or error.strerror or str(error)


class LinkLog:
    """A ``WireRecorder`` that writes to a log."""

    def __init__(self, log: WireLog, link: str, wire: str, words: Words) -> None:
        self._log, self._head, self._words = log, {"link": link, "wire": wire}, words
        self._asked_at = 0.0
        self._held: list[tuple[str, dict[str, Any]]] = []

    def asked(self, instrument: str, raw: bytes, at: float) -> None:
        self.over(self._asked_at)
        self._asked_at = at
        self._write(at, instrument, {"way": "ask", "raw": raw.hex(), "words": self._words(raw, True)})

    def said(self, instrument: str, raw: bytes, at: float) -> None:
        self._came(at, instrument, {"way": "say", "raw": raw.hex(), "words": self._words(raw, False)})

    def ended(self, instrument: str, how: str, at: float) -> None:
        self._came(at, instrument, {"way": "end", "how": how})

    def over(self, at: float) -> None:
        held, self._held = self._held, []
        for instrument, entry in held:
            self._write(at, instrument, entry)

    def _came(self, at: float, instrument: str, entry: dict[str, Any]) -> None:
        if at > self._asked_at:
            self._write(at, instrument, entry)
        else:
            self._held.append((instrument, entry))

    def _write(self, at: float, instrument: str, entry: dict[str, Any]) -> None:
        head = {"us": _us(at), **self._head, "instrument": instrument}
        self._log.write(head | entry)


def _us(at: float) -> int:
    return round(at * 1e6)
