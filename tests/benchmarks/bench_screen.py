"""What the screen costs, and how soon it answers, while 50 events a second come from an engine's loop beside it.

    python -m tests.benchmarks.bench_screen                    half a minute
    python -m tests.benchmarks.bench_screen --seconds 600      the ten minutes of the claim

A screen of 160 x 50 on a terminal of its own; a loop in another thread of its process ticks every 10 ms, as an
engine's does, and tells 50 things a second: samples, steps that end, what was read back. Keys are sent from outside,
and the time is taken until what they bring stands on the terminal. Printed: share of one core, resident memory after
each fifth of the time, milliseconds from key to screen and of tick lag, the same tick lag with no screen
beside it. The milliseconds are this machine's, this time; the two lags are of one run of each kind."""

from __future__ import annotations

import argparse
import asyncio
import itertools
import json
import os
import pty
import queue
import select
import subprocess
import sys
import termios
import threading
import time
from array import array
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from rig.cli.performing import Wanted
from rig.events import Reading, RunStarted, Sampled, StageStarted, StepEnded, StepResult, StepStarted
from rig.limits import Limit, Verdict
from rig.screen.app import BenchApp
from rig.screen.lifeline import Lifeline
from rig.screen.preset import Preset
from rig.screen.running import Running, Told
from rig.screen.scene import Scene
from rig.screen.seen import BenchSeen, OutputSeen
from rig.screen.words import read_words

EVENTS = 50.0  # a second
A_STEP = 500  # events: ten minutes are as many steps as a long procedure has
TICK = 0.01
KEYS = (b"\x1bOP", b"\x1bOQ")  # F1 and F2: help, and back to the bench
SHOWS = (b"What can be done now", b"reading and its limit")
TICK_LAGS = "ticks:"


def told_for_ever() -> Any:
    """Samples, mostly; the outputs as they were read back; every ten seconds a step ends and another begins."""
    limit = Limit(40.0, 60.0, "V", "a benchmark")
    outputs = ("mains", "heater-enable", "fill-feed", "bus-dc24")
    yield RunStarted(
        0.0, "r", "procedure", "1", "demo", "S", "bench", True, "", "", 1, (), "2026-01-01T00:00", 10**6, 60, ""
    )
    yield StageStarted(0.0, "stage", "A stage", "dead", ("Gloves.",))
    for n in itertools.count():
        at, step = n / EVENTS, f"step-{n // A_STEP}"
        if n % A_STEP == 0:
            yield StepStarted(at, step, "stage", "record", 1.0)
        elif n % A_STEP == A_STEP - 1:
            reading = Reading(40 + n % 20, "V", 0.1, "")
            yield StepEnded(at, StepResult(f"{step}", Verdict.PASS, None, reading, limit, 0.99, None, at, at))
        elif n % 10 == 5:
            yield BenchSeen(
                at, time.monotonic(), tuple(OutputSeen(o, "mains", False, False, 0.2) for o in outputs), None
            )
        else:
            yield Sampled(at, step, "flow", 4.0 + n % 7, "mL/s")


class Beating(Running):
    """An engine's loop that tells and measures how late its ticks are."""

    def __init__(self, seconds: float) -> None:
        super().__init__(Wanted("-"), "", 0.0)
        self.lags = array("d")  # small, for the memory of this process is looked at
        self._seconds = seconds
        self.told: queue.SimpleQueue[Told] = queue.SimpleQueue()
        self._thread = threading.Thread(target=lambda: asyncio.run(self._beat()), daemon=True)

    async def _beat(self) -> None:
        told, began = told_for_ever(), time.monotonic()
        due, sent = began, 0
        while (now := time.monotonic()) - began < self._seconds:
            while sent < (now - began) * EVENTS:
                self.told.put(next(told))
                sent += 1
            due += TICK
            await asyncio.sleep(max(0.0, due - time.monotonic()))
            self.lags.append(max(0.0, time.monotonic() - due))
            due = max(due, time.monotonic() - TICK)


def serve(seconds: float) -> None:
    """The screen, in this process, until the time is over; then the lags."""
    app = BenchApp(read_words(), True, [Preset()], None)
    running = Beating(seconds)

    def begin() -> None:
        app.slot.running, app.slot.scene = running, Scene(0.0)
        running.start()
        app.turn_to("bench")
        app.set_timer(seconds, lambda: app.exit(0))

    app.call_later(begin)
    Lifeline(app).run()
    print(TICK_LAGS, json.dumps(list(running.lags)), flush=True)


def alone(seconds: float) -> Sequence[float]:
    """The lags of the same loop with no screen beside it."""
    running = Beating(seconds)
    running.start()
    running.join()
    return running.lags


def percentile(values: Sequence[float], share: float) -> float:
    """In milliseconds."""
    return 1e3 * sorted(values)[min(len(values) - 1, int(share * len(values)))] if values else float("nan")


def resident(process: int) -> float:
    """Megabytes."""
    pages = int(Path(f"/proc/{process}/statm").read_text(encoding="ascii").split()[1])
    return pages * os.sysconf("SC_PAGE_SIZE") / 1e6


def processor(process: int) -> float:
    """Seconds of a processor so far."""
    fields = Path(f"/proc/{process}/stat").read_text(encoding="ascii").rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def main() -> None:
    options = argparse.ArgumentParser()
    options.add_argument("--seconds", type=float, default=30.0)
    options.add_argument("--serve", action="store_true")
    given = options.parse_args()
    if given.serve:
        serve(given.seconds)
        return
    by_itself = alone(min(10.0, given.seconds))
    master, slave = pty.openpty()
    termios.tcsetwinsize(slave, (50, 160))
    screen = subprocess.Popen(
        [sys.executable, "-m", "tests.benchmarks.bench_screen", "--serve", f"--seconds={given.seconds}"],
        stdin=slave, stdout=slave, stderr=slave, env=os.environ | {"TERM": "xterm-256color"},
    )  # fmt: skip
    os.close(slave)
    took, shown, memory = [], b"", []
    sent_at, turn, started, spent = 0.0, 0, 0.0, 0.0
    while screen.poll() is None:
        if select.select([master], [], [], 0.005)[0]:
            try:
                shown += os.read(master, 65536)
            except OSError:
                break
        now = time.monotonic()
        if not started and b"read back" in shown:
            started, spent, shown = now, processor(screen.pid), b""
        if not started:
            continue
        if sent_at and SHOWS[turn] in shown:
            took.append(now - sent_at)
            sent_at, turn = 0.0, 1 - turn
        elif not sent_at and now - started > 0.5 * (len(took) + 1) and now - started < given.seconds - 3:
            shown, sent_at = b"", now
            os.write(master, KEYS[turn])
        if TICK_LAGS.encode() not in shown:
            shown = shown[-4000:]
        if now - started < given.seconds - 2:
            memory.append(resident(screen.pid))
            cost = (processor(screen.pid) - spent) / max(1e-3, now - started)
    lags = json.loads(shown.partition(TICK_LAGS.encode())[2].split(b"]")[0] + b"]")
    fifths = [memory[(len(memory) - 1) * n // 5] for n in range(1, 6)]
    print(f"{given.seconds:.0f} s of {EVENTS:.0f} events/s on 160 x 50, {len(took)} keys")
    rows = (
        ("share of one core", f"{100 * cost:.1f} %"),
        ("resident memory", f"{', '.join(f'{m:.1f}' for m in fifths)} MB after each fifth"),
        ("key to screen", f"{percentile(took, 0.5):.1f} ms median, {percentile(took, 0.99):.1f} ms p99"),
        ("tick lag", f"{percentile(lags, 0.5):.2f} ms median, {percentile(lags, 0.99):.2f} ms p99"),
        ("with no screen", f"{percentile(by_itself, 0.5):.2f} ms median, {percentile(by_itself, 0.99):.2f} ms p99"),
    )
    for what, value in rows:
        print(f"  {what:<20}{value}")


if __name__ == "__main__":
    main()
