"""What is on the bench's wires, the latest of it: for whoever wants to see each question and its answer."""

from __future__ import annotations

import io
import json
from collections import deque
from dataclasses import dataclass

from rig.bench.wire_log import WireLog

KEPT = 400  # lines


@dataclass(frozen=True)
class OnWire:
    """A question and its answer: ``took`` microseconds apart; ``answer`` says how it ended where there is none."""

    us: int
    instrument: str
    question: str
    answer: str
    took: int


class Tape(io.StringIO):
    """Takes the lines of a wire log, and keeps the latest exchanges. ``file`` gets every line, too."""

    def __init__(self, file: str | None = None) -> None:
        super().__init__()
        self.exchanges: deque[OnWire] = deque(maxlen=KEPT)
        self._asked: dict[str, tuple[int, str]] = {}
        self._file = None if file is None else WireLog.create(file)

    def log(self) -> WireLog:
        """A wire log that writes here."""
        return WireLog(self)

    def write(self, line: str) -> int:
        """One line of the log."""
        said = json.loads(line)
        if self._file is not None:
            self._file.write(said)
        if "way" not in said:
            return len(line)
        instrument, us = str(said["instrument"]), int(said["us"])
        if said["way"] == "ask":
            self._asked[instrument] = us, str(said["words"])
        else:
            asked, question = self._asked.pop(instrument, (us, ""))
            answer = str(said["words"] if said["way"] == "say" else said["how"])
            self.exchanges.append(OnWire(us, instrument, question, answer, us - asked))
        return len(line)
