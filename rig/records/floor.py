"""Who runs what, since when, and how it came out: told to the shop beside the records, and shown at once to whoever
looks, by PostgreSQL's own notification (its documentation, NOTIFY and LISTEN)."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import asdict, dataclass

import sqlalchemy as sa

from rig.errors import InputError
from rig.records import derived, ledger
from rig.records.declared import declared
from rig.records.faults import guarded
from rig.records.store import Store

CHANNEL = "rig_floor"
LATEST = 20  # runs of a store that are looked through for the latest of each of its benches


@dataclass(frozen=True)
class OnFloor:
    """The latest run on a bench. ``verdict`` is None while it goes on; ``known`` says how far it has come; ``seen`` is
    when the bench was last heard of."""

    store: str
    bench: str
    run: str
    procedure: str
    unit: str
    serial: str
    job: str
    by: str
    since: str
    verdict: str | None
    known: str
    seen: str


def tell(bench: Store, shop: Store) -> int:
    """Tell the shop what goes on at a bench; how many of its lines are new. Raises RecordError."""
    own = declared(bench).store
    latest: dict[str, OnFloor] = {}
    for line in bench.list_runs(limit=LATEST):
        verdict = None if line.verdict is None else str(line.verdict)
        who = (line.procedure, line.unit, line.serial, line.job or "", line.by, line.utc)
        latest.setdefault(line.bench, OnFloor(own, line.bench, line.run, *who, verdict, line.known, ledger.now()))
    if not latest:
        return 0
    with shop.writing() as connection:
        derived.make(connection, derived.floor)
        before = {row.bench: row for row in _rows(connection, own)}
        new = [row for row in latest.values() if _without_time(before.get(row.bench)) != _without_time(row)]
        f = derived.floor
        connection.execute(sa.delete(f).where(f.c.store == own, f.c.bench.in_(list(latest))))
        connection.execute(sa.insert(f), [asdict(row) for row in latest.values()])
        if connection.dialect.name == "postgresql":
            for row in new:
                connection.execute(sa.select(sa.func.pg_notify(CHANNEL, json.dumps([row.store, row.bench]))))
    return len(new)


def _without_time(row: OnFloor | None) -> dict[str, str | None]:
    return {} if row is None else {k: v for k, v in asdict(row).items() if k != "seen"}


def _rows(connection: sa.Connection, store: str | None = None) -> list[OnFloor]:
    query = sa.select(derived.floor).order_by(derived.floor.c.bench, derived.floor.c.store)
    if store is not None:
        query = query.where(derived.floor.c.store == store)
    return [OnFloor(**row) for row in connection.execute(query).mappings()]


def on_floor(shop: Store) -> list[OnFloor]:
    """What each bench does or did last, by bench."""
    with shop.reading() as connection:
        there = sa.inspect(connection).has_table(derived.floor.name)
        return _rows(connection) if there else []


def watch(shop: Store, quiet_seconds: float) -> Iterator[list[OnFloor]]:
    """The floor at once, then after each change of it; also after so many seconds without any.

    Raises InputError where the store is no PostgreSQL, RecordError."""
    if shop.engine.dialect.name != "postgresql":
        do = "Look once with --once, or name the shop's PostgreSQL with --store."
        raise InputError("a file tells nobody when it changes", do, shop.place)
    with guarded(shop.place), shop.engine.connect() as opened:
        connection = opened.execution_options(isolation_level="AUTOCOMMIT")
        connection.exec_driver_sql(f"LISTEN {CHANNEL}")
        driver = connection.connection.driver_connection
        assert driver is not None
        while True:
            yield on_floor(shop)
            for _ in driver.notifies(timeout=quiet_seconds, stop_after=1):
                pass
