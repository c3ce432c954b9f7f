"""The second process: it watches the first, and switches everything off when that dies or stands still.

    python -m rig.bench.watchman     (started by rig.bench.watcher; orders on its input, answers on its output)

It lives in wall time, in a session of its own, so that a closing terminal does not end it. Orders are lines of JSON:

    {"load": [DRIVER, …]}   find and import their off switches now: when they are needed there is no time
    {"arm": {"parent": PID, "stall": SECONDS, "report": PATH or null, "kill": true or false, "own": true or false,
             "bench": NAME, "latches": [PATH, …], "boards": [BOARD, …]}}
    {"beat": 1}       the control loop is alive
    {"drop": 1}       the first process has lost its way to the boards: drop them from here
    {"done": 1}       everything is off and confirmed: end

A BOARD is {"name", "driver", "address", "protocol", "device", "channels", "baud", "parity", "stop_bits"}; its off
switch is found by the driver's name among the entry points ``refurb_rig.off_switches``. When the input ends without
"done", when the first process is gone, or when no beat comes for ``stall`` seconds, all boards are dropped; again and
again while a board does not confirm or the first process only stands still, for it may come back and go on. When that
must be given up, the bench is latched. What was done goes into the report file, too.
"own" says that the boards are simulated inside the first process, and gone with it.
"""

from __future__ import annotations

import contextlib
import json
import os
import select
import signal
import sys
import time
from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from importlib.metadata import entry_points
from typing import Any

OFF_SWITCHES = "refurb_rig.off_switches"
AGAIN_EVERY = 0.5  # s between two rounds while a board does not confirm
GIVE_UP_AFTER = 120.0  # s: by then the hard-wired stop is what helps, and the report says so

OffSwitch = Callable[[dict[str, Any]], None]


class Watchman:
    """Watches one run."""

    def __init__(
        self, order: dict[str, Any], lines: Iterator[dict[str, Any] | None], off: dict[str, OffSwitch]
    ) -> None:
        self._parent: int = order["parent"]
        self._stall: float = order["stall"]
        self._report: str | None = order["report"]
        self._kill: bool = order["kill"]
        self._own: bool = order["own"]
        self._boards: list[dict[str, Any]] = order["boards"]
        self._bench: str = order["bench"]
        self._latches: list[str] = order["latches"]
        self._lines = lines
        self._pidfd: int | None = None
        with contextlib.suppress(ProcessLookupError):  # gone already: the input's end will say so at once
            self._pidfd = os.pidfd_open(self._parent)
        self._off = off
        self._said: list[str] = []

    def watch(self) -> None:
        """Until the first process is done, or had to be stood in for."""
        last_beat = time.monotonic()
        while True:
            order = self._next(last_beat + self._stall - time.monotonic())
            if order == {"done": 1}:
                return
            if order == {"beat": 1}:
                last_beat = time.monotonic()
            elif order == {"drop": 1}:
                problems = self._drop()
                self.say({"dropped": not problems, "problems": problems})
                last_beat = time.monotonic()
            else:
                self._stand_in("stands still" if order == {} and self._parent_lives() else "is gone")
                return

    def _next(self, patience: float) -> dict[str, Any] | None:
        """The next order; {} when none came in time, None when the first process is gone."""
        waits = [sys.stdin.fileno()] + ([] if self._pidfd is None else [self._pidfd])
        ready, _, _ = select.select(waits, [], [], max(0.0, patience))
        if sys.stdin.fileno() in ready:  # orders first: "done" may lie before the end
            return next(self._lines)
        return None if ready else {}

    def _stand_in(self, why: str) -> None:
        """Do what the first process can no longer do."""
        self._note(f"the first process {why}")
        if why == "stands still" and self._kill:
            self._signal(signal.SIGKILL)  # it holds the line that the boards are on
        began, asked_to_end = time.monotonic(), False
        while time.monotonic() - began < GIVE_UP_AFTER:
            if self._own and not self._parent_lives():
                self._note("the simulated boards have gone with the first process")
                return
            problems = self._drop()
            if not problems:
                self._note("all boards dropped and read back off")
                if not self._parent_lives():
                    return
                if not asked_to_end:
                    self._signal(signal.SIGTERM)  # if it wakes up, it finds its run ended
                    asked_to_end = True
            for problem in problems:
                self._note(problem)
            self._wait(AGAIN_EVERY)
        self._note("gave up: use the hard-wired stop")
        try:
            from rig.bench.latch import leave  # not before: it loads what a second process does not need in a hurry

            leave(self._latches, self._bench, f"the second process gave up: {'; '.join(self._said)}")
        except Exception as error:
            self._note(str(error))

    def _drop(self) -> list[str]:
        problems = []
        for board in self._boards:
            try:
                self._off[board["driver"]](board)
            except Exception as error:  # whatever it was, the other boards are still to be dropped
                problems.append(f"{board['name']}: not confirmed off ({error})")
        return problems

    def _parent_lives(self) -> bool:
        return self._pidfd is not None and not select.select([self._pidfd], [], [], 0)[0]

    def _wait(self, seconds: float) -> None:
        select.select([] if self._pidfd is None else [self._pidfd], [], [], seconds)
        if not self._parent_lives():
            time.sleep(min(seconds, 0.05))

    def _signal(self, number: int) -> None:
        if self._pidfd is not None:
            with contextlib.suppress(ProcessLookupError):
                signal.pidfd_send_signal(self._pidfd, number)

    def _note(self, text: str) -> None:
        if text in self._said:
            return
        self._said.append(text)
        if self._report is not None:
            with contextlib.suppress(OSError), open(self._report, "a", encoding="utf-8") as file:
                file.write(
                    json.dumps({"utc": datetime.now(UTC).isoformat(timespec="milliseconds"), "said": text}) + "\n"
                )

    def say(self, answer: dict[str, Any]) -> None:
        """Answer the first process, if it still listens."""
        with contextlib.suppress(OSError):
            sys.stdout.write(json.dumps(answer) + "\n")
            sys.stdout.flush()


def _off_switches(wanted: list[str]) -> dict[str, OffSwitch]:
    return {e.name: e.load() for e in entry_points(group=OFF_SWITCHES) if e.name in wanted}


def _orders() -> Iterator[dict[str, Any] | None]:
    """The orders of standard input, one at a time; None when it has ended."""
    buffer = b""
    while True:
        while b"\n" in buffer:
            line, _, buffer = buffer.partition(b"\n")
            order = json.loads(line)
            if order != {"beat": 1} or b"\n" not in buffer:  # of many beats only the last counts
                yield order
        try:
            chunk = os.read(sys.stdin.fileno(), 65536)
        except OSError:
            chunk = b""
        if not chunk:
            yield None
        buffer += chunk


def main() -> None:
    """Take orders from the process that started this one."""
    for number in (signal.SIGHUP, signal.SIGINT, signal.SIGTERM, signal.SIGQUIT, signal.SIGTSTP):
        signal.signal(number, signal.SIG_IGN)  # a terminal's signals are for the first process
    lines = _orders()
    off: dict[str, OffSwitch] = {}
    while (order := next(lines)) is not None:
        if "load" in order:
            off = _off_switches(order["load"])
        elif "arm" in order:
            man = Watchman(order["arm"], lines, off)
            man.say({"armed": sorted(off)})
            man.watch()
            return


if __name__ == "__main__":
    main()
    sys.stdout.flush()
    os._exit(0)  # what an interpreter tidies at its end would only keep the first process waiting
