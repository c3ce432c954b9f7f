"""The last entry of the ledger, noted beside the store after each that is kept: a ledger that was cut off at its end is
a whole chain still, and only somebody who has seen a later entry can tell."""

from __future__ import annotations

import json
import os
import threading
from contextlib import suppress
from pathlib import Path

import sqlalchemy as sa

from rig.records import schema
from rig.records.place import place_of


def anchor_path(place: str | os.PathLike[str]) -> Path:
    """Where the last entry of a store is noted."""
    path = Path(place)
    return path.with_name(path.name + ".last")


def beside(url: sa.URL) -> Path:
    """The place by which a store's last entry is noted: its file; for the shop's database a folder of this computer,
    so that each desk knows what it has seen."""
    place = place_of(url.render_as_string(hide_password=False))
    return place.path or place.folder / "entries"


def note(place: str | os.PathLike[str], seq: int, head: str) -> None:
    """Note the last entry. It is no part of the record: where it cannot be written, nothing is lost."""
    path = anchor_path(place)
    part = path.with_name(f"{path.name}.{os.getpid()}.{threading.get_native_id()}")  # two runs in one program note, too
    with suppress(OSError):
        path.parent.mkdir(parents=True, exist_ok=True)
        part.write_text(json.dumps({"entry": seq, "hash": head}) + "\n", encoding="utf-8")
        os.replace(part, path)


def forget(place: str | os.PathLike[str]) -> None:
    """For a store that begins."""
    with suppress(OSError):
        anchor_path(place).unlink()


def cut_off(connection: sa.Connection) -> str:
    """What is missing at the ledger's end, in words; nothing where all that was noted is there."""
    try:
        noted = json.loads(anchor_path(beside(connection.engine.url)).read_text(encoding="utf-8"))
        seq, head = int(noted["entry"]), str(noted["hash"])
    except (OSError, ValueError, KeyError, TypeError):
        return ""  # never noted: a copy, or records from before
    if _is_there(connection, seq, head):
        return ""
    with connection.engine.connect() as now:  # others add and note while one reads: it may be too new to be seen here
        if _is_there(now, seq, head):
            return ""
    return (
        f"entry {seq}: it was there once and is not now: the ledger was cut off at its end, or an old copy was put here"
    )


def _is_there(connection: sa.Connection, seq: int, head: str) -> bool:
    e = schema.entries.c
    return bool(connection.execute(sa.select(e.hash).where(e.seq == seq)).scalar() == head)
