"""Plays a wire log back as a server: a fault of the field becomes a test that anybody can run.

    python -m simulators.wire.replay LOG [--speed N]

serves every link of the log, prints one line a listener (`modbus tcp 127.0.0.1:PORT`), and plays until its
standard input ends or it is told to stop. Then it names what was asked otherwise than in the log, and what was
not asked at all; its exit code is 1 if there was any of that.

Each instrument's questions are taken in the order of the log, and what was said to one, and when, is said again.
A question that is not the next one is looked for further on, then further back, and named in either case; one
that the log does not have at all is met with silence. Transaction numbers need not agree: those of the log are
taken for those of the live questions, and an answer whose number was wrong is as wrong again.
"""

import argparse
import asyncio
import contextlib
import signal
import sys
import threading
import time
from collections.abc import Sequence
from dataclasses import dataclass, field
from math import inf
from pathlib import Path

from simulators.clock import LockstepClock
from simulators.wire import Answer, Pace, Question
from simulators.wire.delivery import Delivery, End, Piece
from simulators.wire.frames import LONGEST_ADU, SHORTEST_RTU, Frames, LineFrames, RtuFrames, TcpFrames
from simulators.wire.link import Address, Heard, Link, Listener
from simulators.wire.log import ASK, Entry, load_log
from simulators.wire.serial import MODBUS_LINE, SerialListener
from simulators.wire.tcp import TcpListener

FRAMES: dict[str, type[TcpFrames] | type[RtuFrames] | type[LineFrames]] = {
    "modbus-tcp": TcpFrames,
    "modbus-rtu": RtuFrames,
    "lines": LineFrames,
}
# Seconds within which bytes behind an answer belong to it (a second copy, noise); what comes later comes on its own.
RIGHT_BEHIND = 0.1
SPOKEN = {"modbus-tcp": "modbus tcp", "modbus-rtu": "modbus rtu", "lines": "lines tcp"}


@dataclass
class Take:
    """One recorded question and what followed it until the next one on that link, in seconds after it."""

    number: int  # of the question on its link, from 1
    instrument: str
    asked: bytes
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
        self._of: dict[bytes, list[Take]] = {}  # by whose question it is
        self._next: dict[bytes, int] = {}
        began = 0
        for entry in entries:
            if entry.way == ASK and isinstance(entry.what, bytes):
                self.takes.append(Take(len(self.takes) + 1, entry.instrument, entry.what))
                self._of.setdefault(self._whose(entry.what), []).append(self.takes[-1])
                began = entry.us
            elif self.takes:
                self.takes[-1].said.append(((entry.us - began) / 1e6, entry.what))

    def play(self, asked: bytes) -> tuple[Take | None, str]:
        """The take for a question, and what is to be said of it: nothing when it was the next one."""
        whose, key = self._whose(asked), self._key(asked)
        after = self._next.get(whose, 0)
        mine = self._of.get(whose, [])
        ahead = next((k for k in range(after, len(mine)) if self._key(mine[k].asked) == key), None)
        if ahead is not None:
            self._next[whose] = ahead + 1
            mine[ahead].played = True
            missed = [str(take.number) for take in mine[after:ahead]]
            return mine[ahead], f"was not asked before: {', '.join(missed)}" if missed else ""
        back = next((take for take in reversed(mine[:after]) if self._key(take.asked) == key), None)
        if back is not None:
            return back, f"asked once more; the answer is that of question {back.number}"
        return None, "is not in the log"

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

    def _could_answer(self, asked: bytes, heard: bytes) -> bool:
        if self.wire == "lines":
            return b"\n" in heard
        if self.wire == "modbus-rtu":
            return any(self.frames.split(heard[:size]) is not None for size in range(SHORTEST_RTU, len(heard) + 1))
        at = heard.find(asked[:2] + b"\0\0")
        return at >= 0 and len(heard) >= at + 6 + int.from_bytes(heard[at + 4 : at + 6] or b"\xff", "big")

    def _key(self, asked: bytes) -> bytes:
        return asked[2:] if self.wire == "modbus-tcp" else asked

    def _whose(self, asked: bytes) -> bytes:
        at = {"modbus-tcp": 6, "modbus-rtu": 0}.get(self.wire)
        return b"" if at is None else asked[at : at + 1]


class TapeLink(Link):
    """A link whose far end is a tape. `deviations` names what was asked otherwise."""

    def __init__(self, name: str, tape: Tape, pace: Pace, counts: dict[str, int]) -> None:
        super().__init__(name, Recorded(tape.frames), pace, counts)
        self.deviations: list[str] = []
        self._tape = tape
        self._numbers: dict[int, int] = {}  # transaction of the log: that of the live question

    def hear(self, request: bytes) -> Heard:
        """Count a request and play what followed it."""
        self._counts[self.name] += 1
        take, odd = self._tape.play(request)
        if odd:
            words = self.far_end.frames.words(request, asked=True)
            self.deviations.append(f"{self.name}: {words} {odd}")
        if take is None:
            return Heard("", Delivery())
        said = [Piece(after, self._renumbered(what, take.asked, request)) for after, what in take.said]
        done = self._tape.answered(take)
        return Heard(take.instrument, Delivery(tuple(said), done, done or 0.0))

    def missed(self) -> list[str]:
        """Recorded questions that nobody asked."""
        words = self._tape.frames.words
        return [
            f"{self.name}: question {take.number} to {take.instrument or 'nobody'} was never asked: "
            f"{words(take.asked, asked=True)}"
            for take in self._tape.takes
            if not take.played
        ]

    def _renumbered(self, what: bytes | End, recorded: bytes, live: bytes) -> bytes | End:
        """Modbus TCP: frames, whole or begun, also behind noise, under the numbers of the live questions."""
        if isinstance(what, End) or self._tape.wire != "modbus-tcp":
            return what
        was, now = _number(recorded), _number(live)
        self._numbers[was] = now
        said, at = bytearray(what), 0
        while at + 4 <= len(said):
            number, size = _number(said[at:]), int.from_bytes(said[at + 4 : at + 6] or b"\2", "big")
            known = number in self._numbers or at == 0  # in the middle of noise only what was asked is a number
            if not known or said[at + 2 : at + 4] != b"\0\0" or not size <= LONGEST_ADU - 6:
                at += 1
                continue
            shifted = 0 if number == 0 else (now + number - was) % 0x10000
            said[at : at + 2] = self._numbers.get(number, shifted).to_bytes(2, "big")
            at += 6 + size
        return bytes(said)


class Recorded:
    """The far end of a tape: it only says how it is spoken to."""

    def __init__(self, frames: Frames) -> None:
        self.frames = frames

    def question(self, request: bytes) -> Question:
        """Whoever it was: the tape knows."""
        return Question("", "tape", ())

    def serve(self, request: bytes, now: float) -> Answer:
        """Never: the tape answers."""
        return Answer(None, silent=True)


class Replay:
    """A station that plays a log: `addresses`, `clock` and `exchanges` are as those of a simulated station."""

    def __init__(self, entries: Sequence[Entry], lockstep: bool = True, speed: float = 1.0) -> None:
        self.clock = LockstepClock() if lockstep else None
        self.addresses: dict[str, Address] = {}
        began = time.monotonic()
        wall = Pace(lambda: (time.monotonic() - began) * speed, None, speed)
        pace = wall if self.clock is None else Pace(self.clock.now, self.clock)
        names = list(dict.fromkeys(entry.link for entry in entries))
        self.exchanges = dict.fromkeys(names, 0)
        self._tapes = {name: Tape([entry for entry in entries if entry.link == name]) for name in names}
        self._links = {name: TapeLink(name, tape, pace, self.exchanges) for name, tape in self._tapes.items()}
        self._listeners = {name: self._listener(link, self._tapes[name]) for name, link in self._links.items()}

    async def open(self) -> None:
        """Start listening."""
        for name, listener in self._listeners.items():
            self.addresses[name] = await listener.open()

    async def close(self) -> None:
        """Close all listeners and connections. Safe to call twice."""
        for listener in self._listeners.values():
            await listener.close()

    def deviations(self) -> list[str]:
        """What was asked otherwise than in the log."""
        return [text for link in self._links.values() for text in link.deviations]

    def missed(self) -> list[str]:
        """What the log has and nobody asked."""
        return [text for link in self._links.values() for text in link.missed()]

    def listener_lines(self) -> list[str]:
        """One line a listener: what it speaks, and where."""
        return [f"{SPOKEN[self._tapes[name].wire]} {address}" for name, address in self.addresses.items()]

    def _listener(self, link: TapeLink, tape: Tape) -> Listener:
        if tape.wire != "modbus-rtu":
            return TcpListener(link)
        listener = SerialListener(link, MODBUS_LINE)
        link.timed = None  # the recorded times have the line's own in them
        return listener


async def start(path: Path, lockstep: bool = True, speed: float = 1.0) -> Replay:
    """A replay that listens. Raises OSError or ValueError for a log that cannot be read or played."""
    replay = Replay(load_log(path), lockstep, speed)
    await replay.open()
    return replay


def main(arguments: Sequence[str] | None = None) -> int:
    """The command of the module's docstring."""
    parser = argparse.ArgumentParser(prog="python -m simulators.wire.replay", description="Play a wire log back.")
    parser.add_argument("log", type=Path)
    parser.add_argument("--speed", type=float, default=1.0, help="seconds of the log to one of the wall")
    given = parser.parse_args(arguments)
    if not 0.0 < given.speed < inf:
        parser.error("--speed is a positive number")
    try:
        return asyncio.run(_serve(given.log, given.speed))
    except (OSError, ValueError) as error:
        print(f"{given.log}: {error}", file=sys.stderr)
        return 2


async def _serve(path: Path, speed: float) -> int:
    stopped = asyncio.Event()
    loop = asyncio.get_running_loop()
    for number in (signal.SIGINT, signal.SIGTERM):
        loop.add_signal_handler(number, stopped.set)
    replay = await start(path, lockstep=False, speed=speed)
    threading.Thread(target=_until_input_ends, args=(loop, stopped), daemon=True).start()
    print(*replay.listener_lines(), sep="\n", flush=True)
    await stopped.wait()
    await replay.close()
    odd = replay.deviations() + replay.missed()
    print(*odd, sep="\n", flush=True) if odd else print("all was asked as in the log", flush=True)
    return 1 if odd else 0


def _until_input_ends(loop: asyncio.AbstractEventLoop, stopped: asyncio.Event) -> None:
    sys.stdin.read()
    with contextlib.suppress(RuntimeError):  # the loop is gone: it was stopped otherwise
        loop.call_soon_threadsafe(stopped.set)


def _number(frame: bytes | bytearray) -> int:
    return int.from_bytes(frame[:2], "big")


if __name__ == "__main__":
    sys.exit(main())
