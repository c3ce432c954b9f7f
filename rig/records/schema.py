"""The tables. Nothing in them is ever changed or taken away: triggers refuse it.

The canonical JSON in ``events.body`` and ``entries.body`` is the truth; most other columns repeat parts of it, to find
things by. Only the triggers are SQLite's own.
"""

from __future__ import annotations

from typing import Any

import sqlalchemy as sa

VERSION = "2"

tables = sa.MetaData()

# No table has SQLite's hidden row number, by which INSERT OR REPLACE could hit another row.

meta = sa.Table(
    "meta",
    tables,
    sa.Column("name", sa.Text, primary_key=True),
    sa.Column("value", sa.Text, nullable=False),
    sqlite_with_rowid=False,
)

jobs = sa.Table(
    "jobs",
    tables,
    sa.Column("job", sa.Text, primary_key=True),
    sa.Column("first_run", sa.Text, nullable=False),
    sqlite_with_rowid=False,
)

runs = sa.Table(
    "runs",
    tables,
    sa.Column("run", sa.Text, primary_key=True),
    sa.Column("job", sa.Text, sa.ForeignKey("jobs.job")),
    sa.Column("procedure", sa.Text, nullable=False),
    sa.Column("revision", sa.Text, nullable=False),
    sa.Column("unit", sa.Text, nullable=False),
    sa.Column("serial", sa.Text, nullable=False),
    sa.Column("bench", sa.Text, nullable=False),
    sa.Column("simulated", sa.Boolean, nullable=False),
    sa.Column("by", sa.Text, nullable=False),
    sa.Column("utc", sa.Text, nullable=False),
    sa.Index("runs_by_serial", "serial", "run"),
    sa.Index("runs_by_job", "job", "run"),
    sqlite_with_rowid=False,
)

events = sa.Table(
    "events",
    tables,
    sa.Column("run", sa.Text, sa.ForeignKey("runs.run"), primary_key=True),
    sa.Column("seq", sa.Integer, primary_key=True, autoincrement=False),
    sa.Column("kind", sa.Text, nullable=False),
    sa.Column("at", sa.Double, nullable=False),
    sa.Column("body", sa.Text, nullable=False),
    sa.Column("previous", sa.Text, nullable=False),
    sa.Column("hash", sa.Text, nullable=False),
    sa.Column("form", sa.Text, nullable=False, server_default="1"),  # which of rig.records.canonical.FORMS
    sa.Index("events_by_kind", "kind", "run", "seq"),
    sqlite_with_rowid=False,
)

# One row a finished step. ``value`` is null where no reading could be had.
readings = sa.Table(
    "readings",
    tables,
    sa.Column("run", sa.Text, primary_key=True),
    sa.Column("seq", sa.Integer, primary_key=True, autoincrement=False),
    sa.Column("step", sa.Text, nullable=False),
    sa.Column("attempt", sa.Integer, nullable=False),
    sa.Column("verdict", sa.Text, nullable=False),
    sa.Column("value", sa.Double),
    sa.Column("unit", sa.Text),
    sa.Column("u", sa.Double),
    sa.Column("bound", sa.Text),
    sa.ForeignKeyConstraint(["run", "seq"], ["events.run", "events.seq"]),
    sa.Index("readings_by_step", "step", "run"),
    sqlite_with_rowid=False,
)

# The ledger: what is kept beside the events of runs, and the beginning and end of each of those.
entries = sa.Table(
    "entries",
    tables,
    sa.Column("seq", sa.Integer, primary_key=True, autoincrement=False),
    sa.Column("id", sa.Text, nullable=False),
    sa.Column("subject", sa.Text, nullable=False),
    sa.Column("kind", sa.Text, nullable=False),
    sa.Column("utc", sa.Text, nullable=False),
    sa.Column("by", sa.Text, nullable=False),
    sa.Column("body", sa.Text, nullable=False),
    sa.Column("previous", sa.Text, nullable=False),
    sa.Column("hash", sa.Text, nullable=False),
    sa.Index("entries_by_subject", "subject", "seq"),
    sa.Index("entries_by_kind", "kind", "seq"),
    sqlite_with_rowid=False,
)

APPEND_ONLY = (jobs, runs, events, readings, entries)


def _guard(table: sa.Table) -> None:
    """Refuse UPDATE, DELETE, and the hidden delete of INSERT OR REPLACE."""
    name = table.name
    same = " AND ".join(f'"{c.name}" = NEW."{c.name}"' for c in table.primary_key.columns)
    refusals = {
        "update": ("BEFORE UPDATE", ""),
        "delete": ("BEFORE DELETE", ""),
        "replace": ("BEFORE INSERT", f' WHEN EXISTS (SELECT 1 FROM "{name}" WHERE {same})'),
    }
    for what, (moment, when) in refusals.items():
        say = f"{name} is append-only: {what} refused"
        head = f"CREATE TRIGGER {name}_no_{what} {moment} ON {name}{when}"
        ddl: Any = sa.DDL(f"{head} BEGIN SELECT RAISE(ABORT, '{say}'); END")  # type: ignore[no-untyped-call]
        sa.event.listen(table, "after_create", ddl.execute_if(dialect="sqlite"))


for _table in APPEND_ONLY:
    _guard(_table)
