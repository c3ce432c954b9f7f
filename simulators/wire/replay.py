"""Plays a wire log back as a server: a fault of the field becomes a test that anybody can run.

    python -m simulators.wire.replay LOG [--speed N]

serves every link of the log, prints one line a listener (`modbus tcp 127.0.0.1:PORT`), and plays until its
standard input ends or it is told to stop. Then it names what was asked otherwise than in the log, and what was
not asked at all; its exit code is 1 if there was any of that.

What changes something is taken in the order of the log, what only reads by its time between two changes (`tape.py`),
and what was said to it, and when, is said again. A change that is not the next one is looked for further on, and
named; a question that the log does not have at all is met with silence. Transaction numbers and stamps need not
agree: those of the log are taken for those of the live questions, and an answer whose number was wrong is as wrong
again.
"""

import argparse
import asyncio
import contextlib
import re
import signal
import sys
import threading
import time
from collections.abc import Sequence
from math import inf
from pathlib import Path

from simulators.clock import LockstepClock
from simulators.wire import Answer, Pace, Question
from simulators.wire.delivery import Delivery, End, Piece
from simulators.wire.frames import LONGEST_ADU, Frames
from simulators.wire.link import Address, Heard, Link, Listener
from simulators.wire.log import Entry, load_log
from simulators.wire.serial import MODBUS_LINE, SerialListener
from simulators.wire.tape import STAMP, Take, Tape
from simulators.wire.tcp import TcpListener

# How much of its limit an asker whose question comes sooner than in the log is kept waiting at most: who asked then
# needed some time of their own between two questions, and on a clock that stands still they need none.
WAITS = 0.5
AT_ONCE = 0.001  # s; what answers a question that comes later than in the log takes at least as long
AT_PACE = 0.25  # s; the same where nobody knows the limit
STAMPED = re.compile(rb"(\d{1,3});")
SPOKEN = {"modbus-tcp": "modbus tcp", "modbus-rtu": "modbus rtu", "lines": "lines tcp"}


class LogTime:
    """The time of the log, for all its links together. Every change that is made again sets it."""

    def __init__(self) -> None:
        self._ahead: float | None = None

    def at(self, now: float) -> float:
        """The log's time at a time of the replay; that of the first question until something is set."""
        return now + (self._ahead or 0.0)

    def shift(self, take: Take, now: float, least: float, most: float) -> float:
        """Seconds, from ``least`` to ``most``, by which what followed a question must be put off so that it comes when
        it came then: more than 0 where the question comes sooner than in the log, less where it comes later."""
        if self._ahead is None:
            self._ahead = take.at - now
        shift = min(most, max(least, take.at - self.at(now)))
        if take.changes:
            self._ahead = take.at - now - shift
        return shift


class TapeLink(Link):
    """A link whose far end is a tape. `deviations` names what was asked otherwise."""

    def __init__(self, name: str, tape: Tape, pace: Pace, counts: dict[str, int], time: LogTime) -> None:
        super().__init__(name, Recorded(tape.frames), pace, counts)
        self.deviations: list[str] = []
        self._tape, self._time = tape, time
        self._numbers: dict[int, int] = {}  # transaction of the log: that of the live question

    def hear(self, request: bytes) -> Heard:
        """Count a request and play what followed it."""
        self._counts[self.name] += 1
        now = self.pace.now()
        take, odd = self._tape.play(request, self._time.at(now))
        if odd:
            words = self.far_end.frames.words(request, asked=True)
            self.deviations.append(f"{self.name}: {words} {odd}")
        if take is None:
            return Heard("", Delivery())
        said = [Piece(after, self._renumbered(what, take.asked, request)) for after, what in take.said]
        done = self._tape.answered(take)
        if done is None:
            self._time.shift(take, now, 0.0, 0.0)
            return Heard(take.instrument, Delivery(tuple(said)))
        soonest = min(done, *(piece.after for piece in said))
        shift = self._time.shift(take, now, min(0.0, AT_ONCE - soonest), self._most(done))
        return Heard(take.instrument, Delivery(tuple(said), done, done).later(shift))

    def _most(self, done: float) -> float:
        if self.pace.clock is None:
            return AT_PACE
        declared, limit = self.pace.clock.on_wire(self.name)
        return max(0.0, WAITS * (limit - declared) - done) if limit < inf else AT_PACE

    def missed(self) -> list[str]:
        """Recorded questions that nobody asked."""
        words = self._tape.frames.words
        return [
            f"{self.name}: question {take.number} to {take.instrument or 'nobody'} was never asked: "
            f"{words(take.asked, asked=True)}"
            for take in self._tape.missed()
        ]

    def _renumbered(self, what: bytes | End, recorded: bytes, live: bytes) -> bytes | End:
        """Modbus TCP: frames, whole or begun, also behind noise, under the numbers of the live questions. Lines: those
        that begin with a question's stamp, under the live one."""
        if isinstance(what, End) or self._tape.wire == "modbus-rtu":
            return what
        if self._tape.wire == "lines":
            return _restamped(what, recorded, live)
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
        log_time = LogTime()
        links = {name: TapeLink(name, tape, pace, self.exchanges, log_time) for name, tape in self._tapes.items()}
        self._links = links
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


async def start(log: Path, lockstep: bool = True, speed: float = 1.0, **of_a_unit: object) -> Replay:
    """A replay that listens, in a station's place: what a station is told of its unit, a log has in it. Raises OSError
    or ValueError for a log that cannot be read or played."""
    replay = Replay(load_log(log), lockstep, speed)
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


def _restamped(said: bytes, recorded: bytes, live: bytes) -> bytes:
    was, now, found = STAMP.search(recorded), STAMP.search(live), STAMPED.match(said)
    if was is None or now is None or found is None:
        return said
    number = (int(found[1]) - int(was[1]) + int(now[1]) - 1) % 255 + 1
    return b"%d;" % number + said[found.end() :]


def _number(frame: bytes | bytearray) -> int:
    return int.from_bytes(frame[:2], "big")


if __name__ == "__main__":
    sys.exit(main())
