"""One trial: a station, a run against it, a strike at one event, and what came of it."""

from __future__ import annotations

import json
import os
import pty
import signal
import subprocess
import sys
import time
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from rig.bench.watcher import STALL
from rig.events import StepEnded
from rig.records.ids import new_run_id
from rig.records.store import Store

SPEED = 20.0
WATCHDOG = 4.0  # s of wall time in the bundled bench: the longest that outputs stay on when everything else is gone
SLACK = 4.0  # s: a Python that is scheduled late on a busy machine, and the exchanges themselves
RUN_WITHIN = 120.0

# how long an output may stay on after each kind of strike, as the station saw it
OFF_WITHIN = {
    "kill-first": SLACK,
    "stop-first": STALL + SLACK,
    "kill-second": SLACK,
    "stop-second": SLACK,
    "kill-both": WATCHDOG + SLACK,
    "stop-both": WATCHDOG + SLACK,
    "terminal": SLACK,
}


@dataclass(frozen=True)
class Outcome:
    """What a trial came to. ``off_after`` is in seconds after the strike, None when nothing was on."""

    kind: str
    k: int
    struck: bool
    events: int | None  # how many the run had, when it was not struck
    off_after: float | None
    still_on: bool
    lost: tuple[str, ...]  # readings that had been shown and are not on record

    @property
    def good(self) -> bool:
        off = self.off_after is None or self.off_after <= OFF_WITHIN[self.kind]
        return off and not self.still_on and not self.lost


def _lines(path: Path) -> list[dict[str, Any]]:
    if not path.exists():
        return []
    return [json.loads(line) for line in path.read_text(encoding="utf-8").splitlines() if line.endswith("}")]


def _wait_for(condition: Any, seconds: float) -> bool:
    deadline = time.monotonic() + seconds
    while time.monotonic() < deadline:
        if condition():
            return True
        time.sleep(0.005)
    return bool(condition())


def trial(kind: str, k: int, seed: int, folder: Path) -> Outcome:
    """Run it. The folder is the trial's own."""
    log, bench, shown, store = (folder / n for n in ("coils", "bench.yaml", "shown", "records.sqlite"))
    run = new_run_id()
    station = subprocess.Popen(
        [sys.executable, "-m", "tests.faults.kills.served", str(log), str(bench), str(SPEED), str(seed)],
        stdin=subprocess.PIPE,
    )
    master, slave = pty.openpty()
    victim = None
    try:
        assert _wait_for(bench.exists, 30), "the station did not start"
        victim = subprocess.Popen(
            [sys.executable, "-m", "tests.faults.kills.victim", *map(str, (bench, store, run, shown, kind, k))],
            stdin=slave, stdout=slave, stderr=slave, start_new_session=True, preexec_fn=_take_terminal,
            env=os.environ | {"RIG_STATE": str(folder / "state")},
        )  # fmt: skip
        os.close(slave)
        slave = -1
        struck_at = _until_struck(victim, shown)
        if kind == "terminal" and struck_at is not None:
            os.close(master)
            master = -1
        off_after, still_on = _watch_off(log, struck_at, OFF_WITHIN[kind], victim)
        events = next((line["events"] for line in _lines(shown) if "events" in line), None)
        return Outcome(kind, k, struck_at is not None, events, off_after, still_on, _lost(store, run, shown))
    finally:
        _clean_up(victim, station)
        for line in _lines(shown):
            if line.get("second"):
                _signal(line["second"], signal.SIGKILL)  # one that is stopped would stay for ever
        for end in (master, slave):
            if end >= 0:
                os.close(end)


def _take_terminal() -> None:
    import fcntl
    import termios

    fcntl.ioctl(0, termios.TIOCSCTTY, 0)


def _until_struck(victim: subprocess.Popen[bytes], shown: Path) -> float | None:
    """When the strike was, or None when the run ended before its k-th event."""

    def struck() -> list[float]:
        return [line["struck"] for line in _lines(shown) if "struck" in line]

    _wait_for(lambda: struck() or victim.poll() is not None, RUN_WITHIN)
    found = struck()
    return found[0] if found else None


def _watch_off(
    log: Path, struck_at: float | None, within: float, victim: subprocess.Popen[bytes]
) -> tuple[float | None, bool]:
    """Seconds from the strike until the last coil fell, and whether any is still on."""

    def on() -> bool:
        last = {line["board"]: line["on"] for line in _lines(log)}
        return any(last.values())

    since = struck_at if struck_at is not None else time.monotonic()
    _wait_for(lambda: time.monotonic() - since > within or (not on() and time.monotonic() - since > 1.0), within + 5)
    if victim.poll() is None and within >= RUN_WITHIN:
        _wait_for(lambda: victim.poll() is not None, RUN_WITHIN)
    changes = [line["t"] for line in _lines(log) if line["t"] > since]
    return (max(changes) - since if changes else None), on()


def _lost(store: Path, run: str, shown: Path) -> tuple[str, ...]:
    told = [(line["shown"], line["value"]) for line in _lines(shown) if "shown" in line]
    if not told:
        return ()
    with Store.open(f"sqlite:///{store}") as records:
        kept = [
            (e.result.name, None if e.result.reading is None else e.result.reading.value)
            for e in records.events(run)
            if isinstance(e, StepEnded)
        ]
    return tuple(name for name, value in told if (name, value) not in kept)


def _clean_up(victim: subprocess.Popen[bytes] | None, station: subprocess.Popen[bytes]) -> None:
    if victim is not None:
        for child in _children(victim.pid):
            _signal(child, signal.SIGKILL)
        victim.kill()
        victim.wait()
    assert station.stdin is not None
    station.stdin.close()
    station.wait(20)


def _children(parent: int) -> list[int]:
    path = Path(f"/proc/{parent}/task/{parent}/children")
    return [int(c) for c in path.read_text(encoding="ascii").split()] if path.exists() else []


def _signal(process: int, number: int) -> None:
    if Path(f"/proc/{process}").exists():
        os.kill(process, number)
