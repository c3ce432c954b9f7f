"""The latch that an interlock leaves on a bench: nothing is energized there until a person has cleared it.

It lies on every link that relay boards are on, so that no other bench file gets round it, and outlasts the program and
a restart. What was cleared, and by whom, is kept beside it.
"""

from __future__ import annotations

import json
import os
from collections.abc import Iterable
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from rig.bench.state import folder, key_of, open_shared, unusable
from rig.errors import RecordError, RuleError
from rig.plan.wiring import Bench

HOW_TO_CLEAR = (
    "Find the reason and mend it. Then a person answers for it by name; with the bench name or file given here: "
    "rig bench BENCH --clear-latch --by NAME"
)


def latch_paths(wiring: Bench) -> list[Path]:
    """Where the latch of a bench lies: a file a link with something to switch on it."""
    boards = {o.instrument for o in wiring.outputs.values()}
    boards |= {t.select.instrument for t in wiring.test_points.values() if t.select is not None}
    links = {wiring.instruments[b].link for b in boards} or set(wiring.links)
    return sorted({folder() / f"{key_of(wiring.links[name])}.latched" for name in links})


def latched(wiring: Bench) -> dict[str, str] | None:
    """Why a bench is latched, since when (UTC) and from which bench file; None when it is not."""
    found = [said for said in map(_read, latch_paths(wiring)) if said is not None]
    return min(found, key=lambda said: said["utc"]) if found else None


def refuse_latched(wiring: Bench) -> None:
    """Raises RuleError when this bench is latched and nobody has cleared it."""
    said = latched(wiring)
    if said is not None:
        raise RuleError(f"latched since {said['utc']}: {said['why']}", HOW_TO_CLEAR, wiring.bench)


def latch(wiring: Bench, why: str) -> None:
    """Leave the latch behind. Raises RecordError when it cannot be written."""
    leave(map(str, latch_paths(wiring)), wiring.bench, why)


def leave(paths: Iterable[str], bench: str, why: str) -> None:
    """Write a latch; safe on disk on return. Raises RecordError."""
    said = {"why": why, "utc": datetime.now(UTC).isoformat(timespec="seconds"), "bench": bench}
    failed: OSError | None = None
    for path in map(Path, paths):
        try:
            _write(path, os.O_TRUNC, json.dumps(said))
        except OSError as error:
            failed = error  # the other links are still to be latched
    if failed is not None:
        raise RecordError(
            f"the latch cannot be written ({failed.strerror}); it would say: {why}",
            "Lock the bench off by hand until the reason is found and mended: the next start will not refuse it.",
            bench,
        )


def clear_latch(wiring: Bench, by: str) -> str | None:
    """Take the latch away; why it was there, None when it was not. Raises InputError when the note of who cleared it
    cannot be kept, for then it stays."""
    why = latched(wiring)
    for path in latch_paths(wiring):
        said = _read(path)
        if said is None:
            continue
        cleared = {**said, "cleared_by": by, "cleared_utc": datetime.now(UTC).isoformat(timespec="seconds")}
        try:
            _write(path.with_suffix(".cleared"), os.O_APPEND, json.dumps(cleared) + "\n")
            _write(path, os.O_TRUNC, "")  # not taken away: in a folder for all, that is its maker's right alone
        except OSError as error:
            raise unusable(path, error) from None
    return None if why is None else why["why"]


def _read(path: Path) -> dict[str, str] | None:
    """An empty file is a latch that was cleared; one that makes no sense is a latch all the same."""
    try:
        text = path.read_text(encoding="utf-8")
        if not text:
            return None
        found: Any = json.loads(text)
        return {name: str(found[name]) for name in ("why", "utc", "bench")}
    except FileNotFoundError:
        return None
    except (OSError, ValueError, KeyError, TypeError):
        when = datetime.fromtimestamp(path.lstat().st_mtime, UTC).isoformat(timespec="seconds")
        return {"why": f"its note cannot be read ({path})", "utc": when, "bench": ""}


def _write(path: Path, flags: int, text: str) -> None:
    descriptor = open_shared(path, (os.O_WRONLY | flags, os.O_WRONLY | os.O_CREAT | flags))
    try:
        os.write(descriptor, text.encode())
        os.fsync(descriptor)
    finally:
        os.close(descriptor)
    descriptor = os.open(path.parent, os.O_RDONLY | os.O_CLOEXEC)  # and that the file is there at all
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)
