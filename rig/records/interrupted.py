"""Runs that were cut off: found at the next start, and marked with what was last known of their outputs.

A run that is being written holds a lock file beside the store. One that has no end on record, and whose lock nobody
holds, was cut off: its program has died.
"""

from __future__ import annotations

import fcntl
import json
import os
import time
from collections.abc import Sequence
from contextlib import suppress
from datetime import UTC, datetime
from pathlib import Path

import sqlalchemy as sa

from rig.errors import RecordError
from rig.events import AllOff, Event, Interrupted, OutputConfirmed, OutputIntended, RunEnded
from rig.records import schema

# Whoever looks whether a lock is held holds it for a moment, and may do so just when it is made.
LOOKS, LOOK_SECONDS = 5, 0.01


def lock_path(folder: Path, run: str) -> Path:
    """Where a run's lock lies."""
    return folder / "running" / f"{run}.lock"


def report_path(folder: Path, run: str) -> Path:
    """Where the second process of a run writes what it had to do."""
    return folder / "second-process" / f"{run}.jsonl"


class RunLock:
    """Held while a run is being written; let go by the end of the process, too. Raises RecordError when another
    program holds it, OSError."""

    def __init__(self, folder: Path, run: str) -> None:
        path = lock_path(folder, run)
        path.parent.mkdir(parents=True, exist_ok=True)
        self._path = path
        self._descriptor: int | None = os.open(path, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o644)
        for _ in range(LOOKS):
            with suppress(BlockingIOError):
                fcntl.flock(self._descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
                return
            time.sleep(LOOK_SECONDS)
        os.close(self._descriptor)
        raise RecordError("the run is being written by another program", "", run)

    def release(self) -> None:
        """Let go, and take the file away. Safe to call twice."""
        descriptor, self._descriptor = self._descriptor, None
        if descriptor is not None:
            with suppress(OSError):
                self._path.unlink()
            os.close(descriptor)


def held(path: Path) -> bool:
    """Whether a program holds this lock now."""
    try:
        descriptor = os.open(path, os.O_RDWR | os.O_CLOEXEC)
    except FileNotFoundError:
        return False
    try:
        fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        return True
    finally:
        os.close(descriptor)
    return False


def without_end(connection: sa.Connection) -> tuple[str, ...]:
    """Runs that have neither an end nor a mark."""
    e, r = schema.events.c, schema.runs.c
    closed = sa.select(e.run).where(e.kind.in_([RunEnded.__name__, Interrupted.__name__]))
    return tuple(connection.execute(sa.select(r.run).where(r.run.not_in(closed)).order_by(r.run)).scalars())


def mark_for(events: Sequence[Event], report: Path) -> Interrupted:
    """The mark of a run that was cut off, from its events and what its second process has written."""
    on: dict[str, bool] = {}
    for event in events:
        if isinstance(event, OutputIntended):
            on[event.output] = False
        elif isinstance(event, OutputConfirmed):
            if event.on:
                on[event.output] = True
            else:
                on.pop(event.output, None)
        elif isinstance(event, AllOff) and event.confirmed:
            on.clear()
    return Interrupted(
        at=max((e.at for e in events), default=0.0),
        utc=datetime.now(UTC).isoformat(timespec="milliseconds"),
        confirmed_on=tuple(name for name, confirmed in on.items() if confirmed),
        perhaps_on=tuple(name for name, confirmed in on.items() if not confirmed),
        second_process=_said(report),
    )


def _said(report: Path) -> tuple[str, ...]:
    """What the second process wrote; a line that it could not finish is left out."""
    said = []
    if report.exists():
        for line in report.read_text(encoding="utf-8", errors="replace").splitlines():
            with suppress(ValueError, KeyError, TypeError):
                said.append(str(json.loads(line)["said"]))
    return tuple(said)
