"""A whole store in one other file, and back; each time the chains are followed before it is called good."""

from __future__ import annotations

import os
import sqlite3
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

from rig.errors import InputError, RecordError, RuleError
from rig.records import anchor, ledger
from rig.records.faults import guarded
from rig.records.store import Store, path_of

DATABASE = "PostgreSQL has its own means: pg_dump and pg_restore; 'rig verify --store URL' follows the chains after it."


@dataclass(frozen=True)
class Copied:
    """What was copied, up to which entry of the ledger."""

    place: str
    entries: int
    head: str
    runs: int


def backup(store: Store, to: Path) -> Copied:
    """Copy a store, also while runs are written to it; the copy is checked. Never over a file that is there.

    Raises InputError, RecordError.
    """
    if to.exists():
        raise InputError("there is a file already", "Name another: a backup never takes the place of one.", str(to))
    if store.path is None:
        raise InputError("the shop's database is not copied into a file", DATABASE, store.place)
    return _copy(store.path, to, "the copy does not hold")


def restore(source: Path, url: str | None) -> Copied:
    """Bring a backup back to where the records belong; refused where there are records, or where it does not hold.

    Raises InputError, RecordError, RuleError.
    """
    if not source.is_file():
        raise InputError("there is no such file", "Name the file that 'rig backup' wrote.", str(source))
    to = path_of(url, DATABASE)
    if to.exists():
        do = "Put those aside first, or name another place with --store."
        raise RuleError("there are records already, and a restore never takes their place", do, str(to))
    with guarded(str(to)):
        to.parent.mkdir(parents=True, exist_ok=True)
    copied = _copy(source, to, "the backup does not hold")
    anchor.note(to, copied.entries, copied.head)
    return copied


def _copy(source: Path, to: Path, failed: str) -> Copied:
    part = to.with_name(to.name + ".part")
    part.unlink(missing_ok=True)
    try:
        with (
            guarded(f"{source} to {to}"),
            closing(sqlite3.connect(f"{source.absolute().as_uri()}?mode=ro", uri=True)) as old,
            closing(sqlite3.connect(part)) as new,
        ):
            old.backup(new)
        found = _checked(part, failed)
        _to_disk(part)
        with guarded(str(to)):
            os.link(part, to)  # refuses, unlike a rename, to take the place of a file that came meanwhile
        _to_disk(to.parent)
    finally:
        _gone(part)
    return Copied(str(to), *found)


def _gone(part: Path) -> None:
    for end in ("", "-wal", "-shm", ".last"):
        part.with_name(part.name + end).unlink(missing_ok=True)


def _checked(path: Path, failed: str) -> tuple[int, str, int]:
    with Store.open(f"sqlite:///{path}", must_exist=True) as copy:
        problems = copy.problems()
        with copy.reading() as connection:
            entries, head = ledger.head_of(connection)
        runs = copy.count_runs()
    if problems:
        more = f", and {len(problems) - 1} more" if len(problems) > 1 else ""
        raise RecordError(f"{failed}: {problems[0]}{more}", "Keep the file as it is; take an older backup.", str(path))
    with closing(sqlite3.connect(path)) as closed:
        closed.execute("PRAGMA journal_mode = DELETE")
    return entries, head, runs


def _to_disk(path: Path) -> None:
    with guarded(str(path)):
        descriptor = os.open(path, os.O_RDONLY)
        try:
            os.fsync(descriptor)
        finally:
            os.close(descriptor)
