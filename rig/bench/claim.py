"""One bench, one program: a lock on each of its links.

Two bench files that lead to one instrument exclude each other, whoever runs them. A bench with a station of its own
needs no lock: nobody else can reach it, and it is made anew for every run.
"""

from __future__ import annotations

import fcntl
import os
from collections.abc import Iterator, Mapping
from contextlib import ExitStack, contextmanager, suppress
from datetime import UTC, datetime

from rig.bench.latch import refuse_latched
from rig.bench.state import folder, key_of, open_shared, unusable
from rig.errors import RuleError
from rig.plan.wiring import Bench, Link


@contextmanager
def claimed(wiring: Bench, links: Mapping[str, Link], own: bool, even_latched: bool = False) -> Iterator[None]:
    """Hold the bench for this program. Raises RuleError when another one holds it, or when it is latched (unless
    ``even_latched``: nothing will be switched), InputError when locks cannot be kept."""
    if own:
        yield
        return
    with ExitStack() as stack:
        keys: dict[str, tuple[str, Link]] = {}
        for name, link in sorted(links.items()):
            keys.setdefault(key_of(link), (name, link))
        for key, (name, link) in sorted(keys.items()):  # in one order for every bench file
            stack.enter_context(_locked(wiring.bench, f"{name}, {link.address}", key))
        if not even_latched:
            refuse_latched(wiring)
        yield


@contextmanager
def _locked(bench: str, link: str, key: str) -> Iterator[None]:
    path = folder() / f"{key}.lock"
    try:
        descriptor = open_shared(path, (os.O_RDWR, os.O_RDWR | os.O_CREAT, os.O_RDONLY))
    except OSError as error:
        raise unusable(path, error) from None
    try:
        try:
            fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            holder = os.pread(descriptor, 200, 0).decode("utf-8", "replace").strip() or "another program"
            raise RuleError(
                f"bench {bench} is in use by {holder} (link {link})",
                "Wait until it has ended, or ask its user to end it.",
                bench,
            ) from None
        with suppress(OSError):  # another user's file that may only be read locks as well; it names nobody then
            os.ftruncate(descriptor, 0)
            os.pwrite(descriptor, f"process {os.getpid()} of {_user()}, since {_now()}\n".encode(), 0)
        yield
    finally:
        os.close(descriptor)  # lets go of the lock, too, as the end of the process would


def _user() -> str:
    import pwd

    try:
        return f"user {pwd.getpwuid(os.getuid()).pw_name}"
    except KeyError:
        return f"user {os.getuid()}"


def _now() -> str:
    return datetime.now(UTC).isoformat(timespec="seconds")
