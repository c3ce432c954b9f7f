"""Older stores are brought to the present form when they are opened. What they hold is never rewritten."""

from __future__ import annotations

from collections.abc import Callable

import sqlalchemy as sa

from rig.records import ledger, schema
from rig.records.facts import StoreMade, StoreMigrated
from rig.records.ids import new_run_id


def _to_2(connection: sa.Connection) -> None:
    """The ledger, and a column that says in which form an event's text is."""
    connection.execute(sa.text("ALTER TABLE events ADD COLUMN form TEXT NOT NULL DEFAULT '1'"))
    schema.entries.create(connection)
    schema.gathered.create(connection)
    begin_ledger(connection)
    e = schema.events.c
    last = sa.select(e.run, sa.func.max(e.seq).label("seq")).group_by(e.run).subquery()
    query = sa.select(e.run, e.seq, e.hash).join(last, (e.run == last.c.run) & (e.seq == last.c.seq)).order_by(e.run)
    runs = tuple((row.run, row.seq + 1, row.hash) for row in connection.execute(query))
    ledger.append(connection, StoreMigrated("1", "2", runs))


def _to_3(connection: sa.Connection) -> None:
    """Room for what is gathered from benches. Nothing of it is in a store of an older version."""
    schema.gathered.create(connection, checkfirst=True)


# from an older version: what is done to its tables, and the version that they then have
STEPS: dict[str, tuple[Callable[[sa.Connection], None], str]] = {"1": (_to_2, "2"), "2": (_to_3, "3")}
OLDER = tuple(STEPS)


def begin_ledger(connection: sa.Connection) -> None:
    """The first entry of a store."""
    from rig import __version__

    ledger.append(connection, StoreMade(new_run_id(), __version__))


def migrate(connection: sa.Connection, found: str) -> str:
    """Bring the tables to the newest version that is known here; the version that they then have."""
    while found in STEPS:
        step, found = STEPS[found]
        step(connection)
        connection.execute(sa.update(schema.meta).where(schema.meta.c.name == "schema").values(value=found))
    return found
