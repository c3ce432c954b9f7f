"""The tables. Nothing in them is ever changed or taken away: triggers refuse it.

The canonical JSON in ``events.body`` and ``entries.body`` is the truth; most other columns repeat parts of it, to find
things by. Only the triggers are of one kind of database or the other; text sorts by code points in both.
"""

from __future__ import annotations

from typing import Any

import sqlalchemy as sa

VERSION = "3"

tables = sa.MetaData()
Text = sa.Text().with_variant(sa.Text(collation="C"), "postgresql")

# No table has SQLite's hidden row number, by which INSERT OR REPLACE could hit another row.

meta = sa.Table(
    "meta",
    tables,
    sa.Column("name", Text, primary_key=True),
    sa.Column("value", Text, nullable=False),
    sqlite_with_rowid=False,
)

jobs = sa.Table(
    "jobs",
    tables,
    sa.Column("job", Text, primary_key=True),
    sa.Column("first_run", Text, nullable=False),
    sqlite_with_rowid=False,
)

runs = sa.Table(
    "runs",
    tables,
    sa.Column("run", Text, primary_key=True),
    sa.Column("job", Text, sa.ForeignKey("jobs.job")),
    sa.Column("procedure", Text, nullable=False),
    sa.Column("revision", Text, nullable=False),
    sa.Column("unit", Text, nullable=False),
    sa.Column("serial", Text, nullable=False),
    sa.Column("bench", Text, nullable=False),
    sa.Column("simulated", sa.Boolean, nullable=False),
    sa.Column("by", Text, nullable=False),
    sa.Column("utc", Text, nullable=False),
    sa.Index("runs_by_serial", "serial", "run"),
    sa.Index("runs_by_job", "job", "run"),
    sqlite_with_rowid=False,
)

events = sa.Table(
    "events",
    tables,
    sa.Column("run", Text, sa.ForeignKey("runs.run"), primary_key=True),
    sa.Column("seq", sa.Integer, primary_key=True, autoincrement=False),
    sa.Column("kind", Text, nullable=False),
    sa.Column("at", sa.Double, nullable=False),
    sa.Column("body", Text, nullable=False),
    sa.Column("previous", Text, nullable=False),
    sa.Column("hash", Text, nullable=False),
    sa.Column("form", Text, nullable=False, server_default="1"),  # which of rig.records.canonical.FORMS
    sa.Index("events_by_kind", "kind", "run", "seq"),
    sqlite_with_rowid=False,
)

# One row a finished step. ``value`` is null where no reading could be had.
readings = sa.Table(
    "readings",
    tables,
    sa.Column("run", Text, primary_key=True),
    sa.Column("seq", sa.Integer, primary_key=True, autoincrement=False),
    sa.Column("step", Text, nullable=False),
    sa.Column("attempt", sa.Integer, nullable=False),
    sa.Column("verdict", Text, nullable=False),
    sa.Column("value", sa.Double),
    sa.Column("unit", Text),
    sa.Column("u", sa.Double),
    sa.Column("bound", Text),
    sa.ForeignKeyConstraint(["run", "seq"], ["events.run", "events.seq"]),
    sa.Index("readings_by_step", "step", "run"),
    sqlite_with_rowid=False,
)

# The ledger: what is kept beside the events of runs, and the beginning and end of each of those.
entries = sa.Table(
    "entries",
    tables,
    sa.Column("seq", sa.Integer, primary_key=True, autoincrement=False),
    sa.Column("id", Text, nullable=False),
    sa.Column("subject", Text, nullable=False),
    sa.Column("kind", Text, nullable=False),
    sa.Column("utc", Text, nullable=False),
    sa.Column("by", Text, nullable=False),
    sa.Column("body", Text, nullable=False),
    sa.Column("previous", Text, nullable=False),
    sa.Column("hash", Text, nullable=False),
    sa.Index("entries_by_subject", "subject", "seq"),
    sa.Index("entries_by_kind", "kind", "seq"),
    sqlite_with_rowid=False,
)

# Where many benches are gathered: what each entry is in the chain of the bench that it comes from. ``happened`` is its
# time, never before that of an entry earlier in the same chain; an entry of the shop's own (no ``store``) comes after
# everything that was there when it was made. ``subject`` is what the bench calls it.
gathered = sa.Table(
    "gathered",
    tables,
    sa.Column("seq", sa.Integer, sa.ForeignKey("entries.seq"), primary_key=True, autoincrement=False),
    sa.Column("store", Text, nullable=False),
    sa.Column("number", sa.Integer, nullable=False),
    sa.Column("id", Text, nullable=False),
    sa.Column("subject", Text, nullable=False),
    sa.Column("previous", Text, nullable=False),
    sa.Column("hash", Text, nullable=False),
    sa.Column("happened", Text, nullable=False),
    sa.Index("gathered_by_number", "store", "number"),
    sa.Index("gathered_by_hash", "hash", unique=True),
    sa.Index("gathered_by_id", "id"),
    sa.Index("gathered_by_happened", "happened"),
    sqlite_with_rowid=False,
)

APPEND_ONLY = (jobs, runs, events, readings, entries, gathered)


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
        _after_creation(table, f"{head} BEGIN SELECT RAISE(ABORT, '{say}'); END", "sqlite")
    for what in ("update", "delete", "truncate"):
        head = f"CREATE TRIGGER {name}_no_{what} BEFORE {what.upper()} ON {name} FOR EACH STATEMENT"
        _after_creation(table, f"{head} EXECUTE FUNCTION append_only()", "postgresql")


def _after_creation(table: sa.Table, text: str, dialect: str) -> None:
    ddl: Any = sa.DDL(text)  # type: ignore[no-untyped-call]
    sa.event.listen(table, "after_create", ddl.execute_if(dialect=dialect))


_REFUSE: Any = sa.DDL(  # type: ignore[no-untyped-call]
    "CREATE OR REPLACE FUNCTION append_only() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN "
    "RAISE EXCEPTION USING MESSAGE = TG_TABLE_NAME || ' is append-only: ' || lower(TG_OP) || ' refused', "
    "ERRCODE = 'integrity_constraint_violation'; END $$"
)
sa.event.listen(tables, "before_create", _REFUSE.execute_if(dialect="postgresql"))

for _table in APPEND_ONLY:
    _guard(_table)
