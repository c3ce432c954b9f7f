"""The questions of one link of a wire log, and which of them a live question is.

What changes something (a written coil, a setting, a person's deed) is taken in the order of the log. What only reads
is a look at the state between two changes, and how often one looks depends on how fast one is: looks are taken by
their time, never across a change. So a program that is a little faster or slower than the one that was recorded still
sees what was seen then.
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from math import inf

from simulators.wire.coils import after_writes
from simulators.wire.delivery import End
from simulators.wire.frames import SHORTEST_RTU, Frames, LineFrames, RtuFrames, TcpFrames
from simulators.wire.log import ASK, Entry

FRAMES: dict[str, type[TcpFrames] | type[RtuFrames] | type[LineFrames]] = {
    "modbus-tcp": TcpFrames,
    "modbus-rtu": RtuFrames,
    "lines": LineFrames,
}
# Seconds within which bytes behind an answer belong to it (a second copy, noise); what comes later comes on its own.
RIGHT_BEHIND = 0.1
WRITES = (5, 6, 15, 16)  # Modbus functions that change something
# A number that a question bears so that its answer can be told from others (IEEE 488.2, 11.5.1: the register holds
# any number). The live one is another than the recorded one.
STAMP = re.compile(rb"\*ESE (\d+);\*ESE\?")
# Units of a SCPI line that only ask, or leave no setting behind; and what a scale is asked.
HARMLESS = re.compile(rb"[:*\w]*\?.*|\*CLS|\*ESE \d+|[A-Z]")
SOON = 0.05  # s by which a look may come before its time: it waits; one that comes sooner sees what the last one saw
LATE = 1.0  # s by which the looks of a program may lag behind the log until some are left out


@dataclass
class Take:
    """One recorded question and what followed it until the next one on that link, in seconds after it."""

    number: int  # of the question on its link, from 1
    instrument: str
    asked: bytes
    at: float  # seconds since the log began
    changes: bool
    said: list[tuple[float, bytes | End]] = field(default_factory=list)
    played: bool = False


class Tape:
    """The takes of one link. Raises ValueError for a wire that is not known."""

    def __init__(self, entries: Sequence[Entry]) -> None:
        wire = entries[0].wire
        if wire not in FRAMES:
            raise ValueError(f"the log has a wire {wire!r}; known are {', '.join(FRAMES)}")
        self.wire = wire
        self.frames: Frames = FRAMES[wire]()
        self.takes: list[Take] = []
        self._of: dict[bytes, list[int]] = {}  # places of the takes with one question
        self._last: dict[bytes, int] = {}  # the place of the take that was played last for it
        self._changed = -1  # the place of the last change that was played
        began = 0
        for entry in entries:
            if entry.way == ASK and isinstance(entry.what, bytes):
                self._of.setdefault(self.key(entry.what), []).append(len(self.takes))
                number, changes = len(self.takes) + 1, self._does_change(entry.what)
                self.takes.append(Take(number, entry.instrument, entry.what, entry.us / 1e6, changes))
                began = entry.us
            elif self.takes:
                self.takes[-1].said.append(((entry.us - began) / 1e6, entry.what))

    def play(self, asked: bytes, now: float) -> tuple[Take | None, str]:
        """The take for a question that is asked at ``now`` of the log's time, and what is odd about it."""
        key = self.key(asked)
        places = self._of.get(key, [])
        if not places:
            return None, "is not in the log"
        place, odd = self._change(key, places) if self._does_change(asked) else self._look(key, places, now)
        self._last[key] = place
        self.takes[place].played = True
        return self._as_it_stands(self.takes[place], place), odd

    def _as_it_stands(self, take: Take, place: int) -> Take:
        """A look that was recorded before changes that have been played: a board's coils are as they were written
        since. Whoever looks once more would be told of what is over."""
        since = [t.asked for t in self.takes[place + 1 : self._changed + 1] if t.changes and t.played]
        if self.wire == "lines" or not since or take.changes:
            return take
        said = [(at, after_writes(self.frames, take.asked, what, since) if isinstance(what, bytes) else what)
                for at, what in take.said]  # fmt: skip
        return replace(take, said=said)

    def missed(self) -> list[Take]:
        """Changes that nobody made, and questions that nobody ever asked."""
        asked = {self.key(take.asked) for take in self.takes if take.played}
        return [t for t in self.takes if not t.played and (t.changes or self.key(t.asked) not in asked)]

    def answered(self, take: Take) -> float | None:
        """Seconds after which its asker may have had its answer; None if nothing came.

        That is the first that could be one, with what came right behind it; else all that came.
        """
        heard, first = b"", inf
        for after, what in take.said:
            heard += what if isinstance(what, bytes) else b""
            if self._could_answer(take.asked, heard):
                first = after
                break
        return max((after for after, _ in take.said if after <= first + RIGHT_BEHIND), default=None)

    def key(self, asked: bytes) -> bytes:
        """A question without the numbers that differ from one recording to the next."""
        if self.wire == "lines":
            return STAMP.sub(b"*ESE n;*ESE?", asked)
        return asked[2:] if self.wire == "modbus-tcp" else asked

    def _change(self, key: bytes, places: list[int]) -> tuple[int, str]:
        whose = self._whose(key)
        ahead = next((p for p in places if p > self._last.get(key, -1) and not self.takes[p].played), None)
        if ahead is None:
            again = self._last.get(key, places[-1])
            return again, f"asked once more; the answer is that of question {self.takes[again].number}"
        left_out = [
            str(take.number)
            for take in self.takes[self._changed + 1 : ahead]
            if take.changes and not take.played and self._whose(self.key(take.asked)) == whose
        ]
        self._changed = max(self._changed, ahead)
        return ahead, f"was not asked before: {', '.join(left_out)}" if left_out else ""

    def _look(self, key: bytes, places: list[int], now: float) -> tuple[int, str]:
        """The next look between the last change and the next one; one further on, if that is due as well."""
        last = self._last.get(key, -1)
        ahead = range(self._changed + 1, len(self.takes))
        until = next((p for p in ahead if self.takes[p].changes and not self.takes[p].played), len(self.takes))
        here = [p for p in places if max(last, self._changed) < p < until]
        if here and self.wire != "lines" and self._changed < last and self.takes[here[0]].at > now + SOON:
            return last, ""  # not due yet: nothing has changed since the last look, and others need the wire
        if here:
            overdue = [p for p in here if self.takes[p].at <= now - LATE]
            return overdue[-1] if overdue else here[0], ""
        before = [p for p in places if p < until]
        if before:  # looked once more: what was whole, if anything was
            return next((p for p in reversed(before) if self._whole(self.takes[p])), before[-1]), ""
        missing = [str(take.number) for take in self.takes[until : places[0]] if take.changes and not take.played]
        return places[0], f"was not asked before: {', '.join(missing)}"

    def _whole(self, take: Take) -> bool:
        return self._could_answer(take.asked, b"".join(what for _, what in take.said if isinstance(what, bytes)))

    def _could_answer(self, asked: bytes, heard: bytes) -> bool:
        if self.wire == "lines":
            return b"\n" in heard
        if self.wire == "modbus-rtu":
            return any(self.frames.split(heard[:size]) is not None for size in range(SHORTEST_RTU, len(heard) + 1))
        at = heard.find(asked[:2] + b"\0\0")
        return at >= 0 and len(heard) >= at + 6 + int.from_bytes(heard[at + 4 : at + 6] or b"\xff", "big")

    def _whose(self, key: bytes) -> bytes:
        at = {"modbus-tcp": 4, "modbus-rtu": 0}.get(self.wire)
        return b"" if at is None else key[at : at + 1]

    def _does_change(self, asked: bytes) -> bool:
        if self.wire == "lines":
            return any(not HARMLESS.fullmatch(unit.strip()) for unit in asked.split(b";"))
        frame = self.frames.split(asked)
        return frame is not None and frame.pdu[:1] != b"" and frame.pdu[0] in WRITES
