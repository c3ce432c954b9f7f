"""Where a computer keeps what belongs to its benches and to no user: locks and latches.

``RIG_STATE`` if set; else ``/var/lib/refurb-rig`` where somebody who looks after the computer has made it, writable for
all who use the bench; else ``/var/tmp/refurb-rig``, which outlasts a restart (Filesystem Hierarchy Standard 3.0, 5.15).
Not the folder of records: two people with records of their own share one bench. Not the temporary folder: a latch must
outlast a restart, and a lock must not depend on a variable of somebody's shell.
"""

from __future__ import annotations

import errno
import hashlib
import ipaddress
import os
import socket
from collections.abc import Iterable
from contextlib import suppress
from pathlib import Path

from rig.errors import InputError
from rig.plan.addresses import place_of, serial_port_of, socket_of
from rig.plan.wiring import Link

MADE_BY_HAND = Path("/var/lib/refurb-rig")
OTHERWISE = Path("/var/tmp/refurb-rig")
FOR_ALL = 0o1777  # as the temporary folder: everybody writes, nobody removes what is another's


def folder() -> Path:
    """The folder; made when missing. Raises InputError when it cannot be used: without it a bench is not guarded
    against a second program."""
    named = os.environ.get("RIG_STATE")
    path = Path(named).expanduser() if named else MADE_BY_HAND if MADE_BY_HAND.is_dir() else OTHERWISE
    try:
        made = not path.exists()
        path.mkdir(parents=True, exist_ok=True)
        if made and not named:
            path.chmod(FOR_ALL)
    except OSError as error:
        raise unusable(path, error) from None
    return path


def unusable(path: Path, error: OSError) -> InputError:
    """What to say when the folder, or a file in it, cannot be used."""
    return InputError(
        f"locks and latches of benches cannot be kept here ({error.strerror or error})",
        "Make the folder, writable for all who use the bench (mode 1777), or name another with RIG_STATE.",
        str(path),
    )


def open_shared(path: Path, ways: Iterable[int]) -> int:
    """Open a file that several users write, whoever made it: the first of some sets of flags that the system takes.

    In a folder for all, some systems refuse to *create* what is there and is another's (fs.protected_regular), and
    some people's masks leave others only the right to read. Raises OSError."""
    last = OSError(errno.EINVAL, "no way to open it")
    for flags in ways:
        try:
            descriptor = os.open(path, flags | os.O_CLOEXEC | os.O_NOFOLLOW, 0o666)
        except OSError as error:
            last = error
            continue
        with suppress(OSError):
            os.fchmod(descriptor, 0o666)  # the next one may be another user
        return descriptor
    raise last


def key_of(link: Link) -> str:
    """A file name's worth of the place that a link leads to: the same for every way to write it."""
    return hashlib.sha256(_found(link).encode()).hexdigest()[:16]


def _found(link: Link) -> str:
    """The place, with names looked up: a host as its number, a serial port as the device behind its path."""
    network, port = socket_of(link), serial_port_of(link)
    if network is not None:
        return f"{_number(network[0])}:{place_of(link).rpartition(':')[2]}"
    return os.path.realpath(port) if port is not None else place_of(link)


def _number(host: str) -> str:
    found = host.lower()
    try:
        number = ipaddress.ip_address(found)
    except ValueError:
        with suppress(OSError, UnicodeError):
            known = sorted({str(info[4][0]) for info in socket.getaddrinfo(found, None, type=socket.SOCK_STREAM)})
            # a name may have numbers of both kinds: the older kind is what others write
            found = next((n for n in known if ":" not in n), known[0])
        return "127.0.0.1" if found == "::1" else found
    return "127.0.0.1" if number.is_loopback and number.version == 6 else str(number)
