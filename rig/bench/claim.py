"""One bench, one program: a lock on each of its links, and the latch that an interlock leaves behind.

Locks and latches lie in a folder that all users of the computer share, because the bench does. A bench with a station
of its own has neither: nobody else can reach it, and it is made anew for every run.
"""

from __future__ import annotations

import fcntl
import hashlib
import json
import os
import tempfile
from collections.abc import Iterator, Mapping
from contextlib import ExitStack, contextmanager, suppress
from datetime import UTC, datetime
from pathlib import Path

from rig.errors import RuleError
from rig.plan.wiring import Bench, Link


def folder() -> Path:
    """Where locks and latches lie; made when missing, writable for every user as the temporary folder itself is."""
    path = Path(tempfile.gettempdir()) / "refurb-rig-benches"
    if not path.exists():
        path.mkdir(exist_ok=True)
        with suppress(PermissionError):
            path.chmod(0o1777)
    return path


def _key(address: str) -> str:
    return hashlib.sha256(address.encode()).hexdigest()[:16]


def latch_of(wiring: Bench) -> Path:
    """The file that says why a bench is latched; absent when it is not."""
    addresses = " ".join(sorted(link.address for link in wiring.links.values()))
    return folder() / f"{_key(addresses)}.latched"


@contextmanager
def claimed(wiring: Bench, links: Mapping[str, Link], own: bool) -> Iterator[None]:
    """Hold the bench for this program. Raises RuleError when another one holds it, or when it is latched."""
    if own:
        yield
        return
    with ExitStack() as stack:
        for name, link in sorted(links.items()):
            stack.enter_context(_locked(wiring.bench, name, link.address))
        refuse_latched(wiring)
        yield


@contextmanager
def _locked(bench: str, link: str, address: str) -> Iterator[None]:
    descriptor = os.open(folder() / f"{_key(address)}.lock", os.O_RDWR | os.O_CREAT, 0o666)
    with suppress(PermissionError):
        os.fchmod(descriptor, 0o666)  # the next program may be another user's
    try:
        try:
            fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            holder = os.pread(descriptor, 100, 0).decode("ascii", "replace").strip() or "another program"
            raise RuleError(
                f"bench {bench} is in use by {holder} (link {link})", "Wait until it has ended, or end it.", bench
            ) from None
        os.ftruncate(descriptor, 0)
        os.pwrite(descriptor, f"process {os.getpid()}\n".encode(), 0)
        yield
    finally:
        os.close(descriptor)  # lets go of the lock, too, as the end of the process would


def refuse_latched(wiring: Bench) -> None:
    """Raises RuleError when an interlock has latched this bench and nobody has cleared it."""
    path = latch_of(wiring)
    if path.exists():
        said = json.loads(path.read_text(encoding="utf-8"))
        raise RuleError(
            f"latched since {said['utc']}: {said['why']}",
            "Find and mend the reason; then, with the same bench name or file: rig bench BENCH --clear-latch --by NAME",
            wiring.bench,
        )


def latch(wiring: Bench, why: str) -> None:
    """Leave the latch behind."""
    said = {"why": why, "utc": datetime.now(UTC).isoformat(timespec="seconds"), "bench": wiring.bench}
    latch_of(wiring).write_text(json.dumps(said), encoding="utf-8")


def clear_latch(wiring: Bench, by: str) -> str | None:
    """Take the latch away; why it was there, None when it was not. What was cleared, and by whom, is kept beside it."""
    path = latch_of(wiring)
    if not path.exists():
        return None
    said = json.loads(path.read_text(encoding="utf-8"))
    cleared = {**said, "cleared_by": by, "cleared_utc": datetime.now(UTC).isoformat(timespec="seconds")}
    with path.with_suffix(".cleared").open("a", encoding="utf-8") as kept:
        kept.write(json.dumps(cleared) + "\n")
    path.unlink()
    return str(said["why"])
