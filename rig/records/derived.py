"""Tables that only repeat what the records say, so that figures of many runs are quick to have, and the floor, which
says what is going on. Nothing is proved by them; they can be thrown away and made anew at any time."""

from __future__ import annotations

import sqlalchemy as sa

from rig.records.schema import Text

tables = sa.MetaData()

# What each bench does: its latest run. No verdict: it goes on. ``seen`` is when the bench was last heard of.
floor = sa.Table(
    "floor",
    tables,
    sa.Column("store", Text, primary_key=True),
    sa.Column("bench", Text, primary_key=True),
    *(sa.Column(name, Text, nullable=False) for name in ("run", "procedure", "unit", "serial", "job", "by", "since")),
    sa.Column("verdict", Text),
    sa.Column("known", Text, nullable=False),
    sa.Column("seen", Text, nullable=False),
)

# How far the tables below have come: the number of the last entry of the ledger that is in them.
progress = sa.Table("figures_progress", tables, sa.Column("form", Text, primary_key=True), sa.Column("seq", sa.Integer))

# One row a job: what the figures of jobs are made of. The lists are JSON.
job_lines = sa.Table(
    "job_lines",
    tables,
    sa.Column("job", Text, primary_key=True),
    *(sa.Column(name, Text, nullable=False) for name in ("serial", "unit", "owner", "complaint", "received")),
    sa.Column("stage", Text, nullable=False),
    sa.Column("closed", Text),
    sa.Column("how", Text, nullable=False),
    sa.Column("released", Text),
    sa.Column("warranty_of", Text),
    sa.Column("diagnosed", Text),
    sa.Column("as_found", Text),
    sa.Column("runs", sa.Integer, nullable=False),
    sa.Column("bench_seconds", sa.Double, nullable=False),
    sa.Column("repair_minutes", sa.Double, nullable=False),
    sa.Column("firsts", Text, nullable=False),
    sa.Column("repairs", Text, nullable=False),
    sa.Index("job_lines_by_received", "received"),
    sa.Index("job_lines_by_serial", "serial"),
    sa.Index("job_lines_by_owner", "owner"),
)

# How often each step came out how, by month; and how readings lie about their limits (rig.shop.steps says how).
COUNTS = ("done", "failed", "unread", "inner", "inside", "outside")
step_months = sa.Table(
    "step_months",
    tables,
    *(sa.Column(name, Text, primary_key=True) for name in ("month", "bench", "unit", "procedure", "step")),
    *(sa.Column(name, sa.Integer, nullable=False) for name in COUNTS),
)

# The latest values of each step on each bench with each profile, oldest first, as JSON: [[run, value], ...]; and what
# their charts say, where they say something.
step_charts = sa.Table(
    "step_charts",
    tables,
    *(sa.Column(name, Text, primary_key=True) for name in ("bench", "unit", "procedure", "step")),
    sa.Column("in_unit", Text, nullable=False),
    sa.Column("latest", Text, nullable=False),
    sa.Column("drift", Text),
)

# Which runs have readings of which instrument, as the readings name it.
instruments_used = sa.Table(
    "instruments_used",
    tables,
    sa.Column("instrument", Text, primary_key=True),
    sa.Column("run", Text, primary_key=True),
)

# The instruments of each bench as they were at its latest run.
instruments_seen = sa.Table(
    "instruments_seen",
    tables,
    *(sa.Column(name, Text, primary_key=True) for name in ("bench", "name")),
    sa.Column("serial", Text, nullable=False),
    sa.Column("calibrated_until", Text),
    sa.Column("seen", Text, nullable=False),
)

# What each job with a repair teaches a diagnosis (rig.diagnosis.kept_cases says how); no body: nothing.
taught = sa.Table(
    "taught",
    tables,
    sa.Column("job", Text, primary_key=True),
    sa.Column("seq", sa.Integer, nullable=False),
    *(sa.Column(name, Text, nullable=False) for name in ("complaint", "read_by")),
    sa.Column("body", Text),
)


FIGURES = (progress, job_lines, step_months, step_charts, instruments_used, instruments_seen)


def make(connection: sa.Connection, *needed: sa.Table) -> None:
    """Make those of some tables that are not there, in a transaction that writes. Whoever needs others only may not be
    allowed to make these."""
    missing = [t for t in needed if not sa.inspect(connection).has_table(t.name)]
    for table in missing:
        table.create(connection)
