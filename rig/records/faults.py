"""What can go wrong with the store, in two lines for a person."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager

from sqlalchemy.exc import DBAPIError, SQLAlchemyError

from rig.errors import RecordError

_OTHER = "Keep a copy of the file, then try another store with --store sqlite:///PATH."
_HELD = "another program holds the records locked"
_LET_GO = "Close what else has them open, then do it again."
_SHUT = "the records cannot be opened"
_RIGHTS = "Look whether the folder exists and you may write to it and to the file."

# by the beginning of SQLite's own name of the error
_KNOWN: dict[str, tuple[str, str]] = {
    "SQLITE_FULL": ("the disk is full", "Free some space on it, then do it again."),
    "SQLITE_BUSY": (_HELD, _LET_GO),
    "SQLITE_LOCKED": (_HELD, _LET_GO),
    "SQLITE_READONLY": ("the records may only be read", _RIGHTS),
    "SQLITE_CANTOPEN": (_SHUT, _RIGHTS),
    "SQLITE_PERM": (_SHUT, _RIGHTS),
    "SQLITE_NOTADB": (
        "the file is not a store of records",
        "Name another store with --store sqlite:///PATH.",
    ),
    "SQLITE_CORRUPT": ("the records are damaged", "Put the file aside as it is and restore a copy."),
    "SQLITE_IOERR": (
        "the disk refuses to read or write",
        "Check the disk; put a copy of the file on another.",
    ),
    "SQLITE_CONSTRAINT": ("the store refuses an entry that does not fit what it holds", _OTHER),
}

_SHOP = "a bench loses nothing meanwhile, and 'rig gather' goes on where it was"
_AWAY = "Look whether the server runs and the network is there; " + _SHOP + "."
# by the class or the whole of PostgreSQL's SQLSTATE (PostgreSQL documentation, appendix A)
_STATES: dict[str, tuple[str, str]] = {
    "08": ("the shop's database cannot be reached", _AWAY),
    "57": ("the shop's database has stopped what was asked", _AWAY),
    "55": (_HELD, _LET_GO),
    "40": ("another program wrote the same thing at the same moment", "Do it again."),
    "53": ("the shop's database has no room", "Free some disk or memory on its server, then do it again."),
    "28": ("the shop's database does not let this user in", "Look at the name, the password and the server's rules."),
    "3D": ("there is no such database", "Make it with createdb, or name another."),
    "42501": ("the shop's database does not allow this to this user", "'rig store roles' says which role may do what."),
    "23": ("the store refuses an entry that does not fit what it holds", _OTHER),
}


def record_error(fault: BaseException, place: str) -> RecordError:
    """The fault as one of ours; ``place`` is the file that it is about."""
    cause = fault.orig if isinstance(fault, DBAPIError) and fault.orig is not None else fault
    code = getattr(cause, "sqlite_errorname", "") or ""
    for beginning, (what, do) in _KNOWN.items():
        if code.startswith(beginning):
            return RecordError(f"{what} ({cause})", do, place)
    state = getattr(cause, "sqlstate", None)
    for beginning, (what, do) in _STATES.items():
        if state is not None and state.startswith(beginning):
            return RecordError(f"{what} ({_first_line(cause)})", do, place)
    away = ("OperationalError", "ConnectionTimeout")  # of psycopg, before a server could give a state
    if type(cause).__module__.startswith("psycopg") and type(cause).__name__ in away:
        return RecordError(f"{_STATES['08'][0]} ({_first_line(cause)})", _AWAY, place)
    if isinstance(cause, OSError):
        return RecordError(f"{_SHUT} ({cause.strerror or cause})", _RIGHTS, place)
    if isinstance(cause, ValueError):
        return RecordError(f"an entry cannot be kept or read ({cause})", _OTHER, place)
    return RecordError(f"the store failed ({type(cause).__name__}: {_first_line(cause)})", _OTHER, place)


def _first_line(cause: BaseException) -> str:
    return (str(cause).splitlines() or [""])[0]


@contextmanager
def guarded(place: str) -> Iterator[None]:
    """Turns what the libraries below raise into RecordError."""
    try:
        yield
    except (SQLAlchemyError, sqlite3.Error, sqlite3.Warning, OSError, ValueError) as fault:
        raise record_error(fault, place) from fault
    except Exception as fault:
        if type(fault).__module__.partition(".")[0] != "psycopg":  # which is not imported on a bench
            raise
        raise record_error(fault, place) from fault
