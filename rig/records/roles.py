"""Who may do what in the shop's database: roles of PostgreSQL that users are put into (its documentation, GRANT and row
security policies). Nobody of them can change or take away a record; triggers refuse it to the owner as well."""

from __future__ import annotations

from collections.abc import Iterator

import sqlalchemy as sa

from rig.errors import InputError
from rig.records import derived, schema
from rig.records.store import Store

BENCH, DESK, REPORT = "rig_bench", "rig_desk", "rig_report"
ROLES = {
    BENCH: "sends a bench's records with 'rig gather', and tells the floor",
    DESK: "reads everything, and adds to the ledger: a release, a shipping; no runs and no readings",
    REPORT: "reads runs, figures and the floor, and no PIN's verifier; adds nothing",
}


def make_roles(store: Store) -> None:
    """Make the roles and give them their rights; again after an update, which may have brought new tables.

    Raises InputError where the store is no PostgreSQL, RecordError for a user who may not."""
    if store.engine.dialect.name != "postgresql":
        raise InputError("a file has no roles", "Name the shop's PostgreSQL with --store.", store.place)
    with store.writing() as connection:
        derived.make(connection, *derived.tables.sorted_tables)
        for statement in _statements(connection):
            connection.exec_driver_sql(statement)


def _statements(connection: sa.Connection) -> Iterator[str]:
    known = set(connection.execute(sa.text("SELECT rolname FROM pg_roles")).scalars())
    yield from (f"CREATE ROLE {role} NOLOGIN" for role in ROLES if role not in known)
    everybody = ", ".join(ROLES)
    kept = ", ".join(t.name for t in schema.APPEND_ONLY)
    made = ", ".join(t.name for t in derived.tables.sorted_tables)
    yield f"GRANT USAGE ON SCHEMA public TO {everybody}"
    yield f"GRANT SELECT ON {schema.meta.name}, {kept}, {made} TO {everybody}"
    yield f"GRANT INSERT ON {kept} TO {BENCH}"
    yield f"GRANT INSERT ON {schema.entries.name}, {schema.gathered.name} TO {DESK}"
    yield f"GRANT INSERT, UPDATE, DELETE ON {made} TO {BENCH}, {DESK}"
    entries = schema.entries.name
    yield f"ALTER TABLE {entries} ENABLE ROW LEVEL SECURITY"
    yield f"DROP POLICY IF EXISTS all_entries ON {entries}"
    yield f"DROP POLICY IF EXISTS no_verifiers ON {entries}"
    yield f"CREATE POLICY all_entries ON {entries} TO {BENCH}, {DESK} USING (true) WITH CHECK (true)"
    yield f"CREATE POLICY no_verifiers ON {entries} FOR SELECT TO {REPORT} USING (kind <> 'PinSet')"
