"""The screen is struck in mid-fill: everything goes off, the record is closed, the terminal is as it was."""

from __future__ import annotations

import json
import os
import pty
import select
import signal
import subprocess
import sys
import termios
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

import pytest

from rig.events import OutputConfirmed, RunEnded
from rig.limits import Verdict
from rig.records.store import Store
from tests.cli.small_procedures import LONG_WAIT
from tests.faults.kills.trial import OFF_WITHIN, _take_terminal

PATIENCE = 200.0  # s of wall time for a start on a busy machine
FILL = Path(__file__).parents[1] / "faults" / "kills" / "strike.yaml"  # with every way to have something on
BEGIN, NEXT_SLOT = b"\x1b[19~", b"\x1b[24~"  # F8, F12


class Struck:
    """A screen on a terminal of its own."""

    def __init__(self, folder: Path, how: str, *arguments: str) -> None:
        self.store = f"sqlite:///{folder / 'records.sqlite'}"
        self.shown = b""
        self.master, slave = pty.openpty()
        termios.tcsetwinsize(slave, (24, 80))
        self.before = termios.tcgetattr(slave)
        environment = os.environ | {"RIG_STATE": str(folder / "state"), "TERM": "xterm-256color"}
        words = ["--person=simulated", f"--store={self.store}", *arguments]
        self.process = subprocess.Popen(
            [sys.executable, "-m", "tests.screen.victim", how, *words],
            stdin=slave, stdout=slave, stderr=slave, start_new_session=True, preexec_fn=_take_terminal,
            env=environment,
        )  # fmt: skip
        os.close(slave)

    def until(self, what: Callable[[], object], within: float = PATIENCE) -> None:
        """Wait for something, and take what the screen draws: a terminal that nobody reads would hold it up."""
        began = time.monotonic()
        while not what():
            assert time.monotonic() - began < within, self.shown[-3000:].decode("utf-8", "replace")
            with suppress(OSError):
                while self.master >= 0 and select.select([self.master], [], [], 0.03)[0]:
                    self.shown += os.read(self.master, 65536)
            if self.master < 0:
                time.sleep(0.03)

    def begin(self) -> None:
        """Have the run begin."""
        self.until(lambda: b"F8" in self.shown)
        os.write(self.master, BEGIN)

    def ended(self) -> RunEnded:
        """How the process ends the run: what is on record."""
        return self.all_ended()[0]

    def all_ended(self) -> list[RunEnded]:
        """The same of all runs, the latest first."""
        self.until(lambda: self.process.poll() is not None)
        self.until(lambda: True)
        with Store.open(self.store) as records:
            return [records.read_run(line.run).ended for line in records.list_runs()]

    def runs_with_something_on(self) -> int:
        """Of how many it is on record that an output went on."""
        with Store.open(self.store) as records:
            told = [records.events(line.run) for line in records.list_runs()]
        return sum(any(isinstance(event, OutputConfirmed) and event.on for event in events) for events in told)


@contextmanager
def filling(folder: Path, how: str = "whole") -> Iterator[Struck]:
    """A screen in the middle of a fill, the unit's own board driving; time is held back, so that it stays there."""
    screen = Struck(folder, how, f"--procedure={FILL}", "--speed=40")
    try:
        screen.begin()
        if how == "whole":
            screen.until(lambda: b"level-probe wet" in screen.shown and b"ON: mains" in screen.shown)
        yield screen
    finally:
        _end(screen)


def _end(screen: Struck) -> None:
    if screen.process.poll() is None:
        screen.process.kill()
        screen.process.wait()
    if screen.master >= 0:
        os.close(screen.master)


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGHUP])
def test_a_signal_leaves_nothing_on_and_the_terminal_as_it_was(tmp_path: Path, number: signal.Signals) -> None:
    with filling(tmp_path) as screen:
        screen.process.send_signal(number)
        ended = screen.ended()
        assert ended.all_off
        assert ended.signal == number
        assert ended.verdict is Verdict.STOPPED
        assert screen.process.returncode == 128 + number
        assert termios.tcgetattr(screen.master) == screen.before
        assert screen.shown.count(b"\x1b[?1049h") == screen.shown.count(b"\x1b[?1049l")
        assert b"Everything is off, and confirmed." in screen.shown


@contextmanager
def two_slots(folder: Path, how: str) -> Iterator[Struck]:
    """A screen with something on in both of its slots."""
    procedure = folder / "long-wait.yaml"
    procedure.write_text(LONG_WAIT, encoding="utf-8")
    screen = Struck(folder, how, f"--procedure={procedure}", "--speed=1", *["--bench=simulated"] * 2)
    try:
        screen.begin()
        screen.until(lambda: b"ON: bus-dc24" in screen.shown)
        os.write(screen.master, NEXT_SLOT)
        screen.until(lambda: b"chosen: slot 2" in screen.shown)
        os.write(screen.master, BEGIN)
        yield screen
    finally:
        _end(screen)


def test_a_signal_turns_off_every_slot(tmp_path: Path) -> None:
    with two_slots(tmp_path, "whole") as screen:
        screen.until(lambda: screen.runs_with_something_on() == 2)
        screen.process.send_signal(signal.SIGTERM)
        ended = screen.all_ended()
        assert [(one.all_off, one.signal, one.verdict) for one in ended] == [
            (True, signal.SIGTERM, Verdict.STOPPED)
        ] * 2
        assert screen.process.returncode == 128 + signal.SIGTERM
        assert termios.tcgetattr(screen.master) == screen.before
        assert screen.shown.count(b"Everything is off, and confirmed.") == 1


def test_a_screen_that_fails_turns_off_every_slot(tmp_path: Path) -> None:
    with two_slots(tmp_path, "crash-in-2") as screen:
        ended = screen.all_ended()
        assert [(one.all_off, one.reason) for one in ended] == [(True, "the screen failed")] * 2
        assert screen.process.returncode == 3
        assert b"Everything is off, and confirmed." in screen.shown


def test_a_screen_that_fails_leaves_nothing_on(tmp_path: Path) -> None:
    with filling(tmp_path, "crash") as screen:
        ended = screen.ended()
        assert ended.all_off
        assert ended.reason == "the screen failed"
        assert screen.process.returncode == 3
        assert termios.tcgetattr(screen.master) == screen.before
        assert b"the drawing fails, as the test wants it" in screen.shown
        assert b"Everything is off, and confirmed." in screen.shown


def test_a_closed_terminal_leaves_nothing_on(tmp_path: Path) -> None:
    with filling(tmp_path) as screen:
        os.close(screen.master)
        screen.master = -1
        ended = screen.ended()
        assert ended.all_off
        assert ended.signal == signal.SIGHUP
        assert screen.process.returncode == 128 + signal.SIGHUP


def test_a_screen_that_is_killed_leaves_nothing_on(tmp_path: Path) -> None:
    """The second process turns off, as the station in a process of its own sees it."""
    log, bench, procedure = tmp_path / "coils", tmp_path / "bench.yaml", tmp_path / "long-wait.yaml"
    procedure.write_text(LONG_WAIT, encoding="utf-8")
    station = subprocess.Popen(
        [sys.executable, "-m", "tests.faults.kills.served", str(log), str(bench), "1", "1"], stdin=subprocess.PIPE
    )

    def on() -> bool:
        lines = log.read_text(encoding="utf-8").splitlines() if log.exists() else []
        last = {told["board"]: told["on"] for told in (json.loads(line) for line in lines if line.endswith("}"))}
        return any(last.values())

    screen = None
    try:
        end = time.monotonic() + PATIENCE
        while not bench.exists():
            assert time.monotonic() < end
            time.sleep(0.05)
        screen = Struck(tmp_path, "whole", f"--procedure={procedure}", f"--bench={bench}")
        screen.begin()
        screen.until(on)
        screen.process.kill()
        screen.until(lambda: not on(), OFF_WITHIN["kill-first"])
    finally:
        if screen is not None:
            _end(screen)
        assert station.stdin is not None
        station.stdin.close()
        station.wait(20)
