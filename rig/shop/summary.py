"""Brings the derived tables up to the end of the ledger: what is new since the last time, and nothing else."""

from __future__ import annotations

import sqlalchemy as sa

from rig.records import derived, ledger, schema
from rig.records.declared import read_declared
from rig.records.facts import RunBegan, RunClosed, StoreMigrated
from rig.records.ledger import Kept
from rig.records.store import Store
from rig.records.upsert import upsert
from rig.shop.job_lines import job_line
from rig.shop.steps import count_runs, keep

FORM = "1"  # of what the tables hold: tables of another form are made anew
AT_ONCE = 2000  # entries in one transaction: others who write wait for about a second


def bring_up_to_date(store: Store) -> None:
    """Take in what came since the last time. Raises RecordError, also for a user who may only read."""
    with store.writing() as connection:
        derived.make(connection, *derived.FIGURES)
        p = derived.progress
        if connection.execute(sa.select(p.c.seq).where(p.c.form == FORM)).first() is None:
            for table in derived.FIGURES:
                connection.execute(sa.delete(table))
            connection.execute(sa.insert(p).values(form=FORM, seq=0))
    while behind(store):
        with store.writing() as connection:
            _take_in(connection)


def behind(store: Store) -> int:
    """How many entries of the ledger are not in the derived tables yet; all of them where there are no tables."""
    with store.reading() as connection:
        last, _ = ledger.head_of(connection)
        if not sa.inspect(connection).has_table(derived.progress.name):
            return last
        p = derived.progress.c
        return last - int(connection.execute(sa.select(p.seq).where(p.form == FORM)).scalar() or 0)


def _take_in(connection: sa.Connection) -> None:
    p, e = derived.progress, schema.entries.c
    done = connection.execute(sa.select(p.c.seq).where(p.c.form == FORM)).scalar_one()
    query = sa.select(schema.entries).where(e.seq > done, e.seq <= done + AT_ONCE).order_by(e.seq)
    new = [ledger.kept(row) for row in connection.execute(query).mappings()]
    if not new:
        return
    practice = read_declared(connection).practice
    keep(connection, count_runs(connection, _ended(connection, new), practice))
    _see_instruments(connection, new)
    numbers = sorted({entry.subject.removeprefix("job:") for entry in new if entry.subject.startswith("job:")})
    lines = [line for number in numbers if (line := job_line(connection, number, practice)) is not None]
    upsert(connection, derived.job_lines, lines)
    connection.execute(sa.update(p).where(p.c.form == FORM).values(seq=new[-1].seq))


def _ended(connection: sa.Connection, entries: list[Kept]) -> list[str]:
    """The runs whose end is among the entries, each once."""
    found: dict[str, None] = {}
    for entry in entries:
        if isinstance(entry.fact, RunClosed):
            found[entry.fact.run] = None
        elif isinstance(entry.fact, StoreMigrated):
            ends = {e.fact.run for e in ledger.read(connection, kinds=(RunClosed,)) if isinstance(e.fact, RunClosed)}
            found |= dict.fromkeys(run for run, _, _ in entry.fact.runs if run not in ends)
    return list(found)


def _see_instruments(connection: sa.Connection, entries: list[Kept]) -> None:
    rows: dict[tuple[str, str], dict[str, str | None]] = {}
    for entry in entries:
        fact = entry.fact
        if not isinstance(fact, RunBegan):
            continue
        for one in fact.instruments:
            row: dict[str, str | None] = {"bench": fact.bench, "name": one.name, "serial": one.serial}
            row |= {"calibrated_until": one.calibrated_until, "seen": entry.utc}
            before = rows.get((fact.bench, one.name))
            if before is None or str(before["seen"]) <= entry.utc:
                rows[fact.bench, one.name] = row
    s = derived.instruments_seen.c
    benches = {bench for bench, _ in rows}
    query = sa.select(s.bench, s.name, s.seen).where(s.bench.in_(benches))
    known = {(r.bench, r.name): r.seen for r in connection.execute(query)}
    newer = [row for key, row in rows.items() if known.get(key, "") <= str(row["seen"])]
    upsert(connection, derived.instruments_seen, newer)
