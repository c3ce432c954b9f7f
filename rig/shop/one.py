"""Everything on record of one unit, or of one customer; and what is older than it must be kept."""

from __future__ import annotations

from datetime import date
from typing import Any

import sqlalchemy as sa

from rig.records import ledger, schema
from rig.records.canonical import parsed
from rig.records.declared import read_declared
from rig.records.job import Job, find_job, job_numbers
from rig.records.people import same_name
from rig.records.store import Store

FORM = "refurb-rig export 1"


def everything(store: Store, serial: str = "", owner: str = "") -> dict[str, Any]:
    """The jobs, entries and runs with their events of a serial number or a customer's reference, as they are kept:
    with hashes, so that whoever has them can follow each run's chain."""
    with store.reading() as connection:
        jobs = [job for job in _jobs(connection) if _is_of(job, serial, owner)]
        runs = {run.run: None for job in jobs for run in job.runs}
        if serial:  # also runs without a job
            r = schema.runs.c
            alone = connection.execute(sa.select(r.run, r.serial).order_by(r.run))
            runs |= {row.run: None for row in alone if same_name(row.serial) == same_name(serial)}
        ended = [_run(connection, run) for run in runs]
        return {
            "export": FORM,
            "of": {"serial": serial} if serial else {"owner": owner},
            "store": read_declared(connection).store,
            "utc": ledger.now(),
            "jobs": [_job(job) for job in jobs],
            "runs": [run for run in ended if run is not None],
        }


def _jobs(connection: sa.Connection) -> list[Job]:
    found = (find_job(connection, number) for number in job_numbers(connection))
    return [job for job in found if job is not None]


def _is_of(job: Job, serial: str, owner: str) -> bool:
    own = job.received
    return same_name(own.serial) == same_name(serial) if serial else same_name(own.owner) == same_name(owner)


def _job(job: Job) -> dict[str, Any]:
    entries = [ledger.envelope_of(entry) | _from(entry) for entry in job.entries]
    return {"job": job.number, "stage": job.stage, "entries": entries}


def _from(entry: ledger.Kept) -> dict[str, Any]:
    came = entry.came
    return {} if came is None else {"came_from": {"store": came.store, "number": came.number, "hash": came.hash}}


def _run(connection: sa.Connection, run: str) -> dict[str, Any] | None:
    e = schema.events.c
    rows = connection.execute(sa.select(e.seq, e.form, e.body, e.hash).where(e.run == run).order_by(e.seq)).all()
    if not rows:
        return None  # it goes on at its bench
    events = [{"seq": row.seq, "form": row.form, "event": parsed(row.body, row.form), "hash": row.hash} for row in rows]
    return {"run": run, "events": events}


def beyond_keeping(store: Store, years: int, today: date) -> list[dict[str, Any]]:
    """The jobs that were closed before so many years, the oldest first: what the workshop need not keep any longer."""
    try:
        day = today.replace(year=today.year - years)
    except ValueError:  # the 29th of February
        day = today.replace(year=today.year - years, day=28)
    found = []
    with store.reading() as connection:
        for job in _jobs(connection):
            if job.closed and job.entries[-1].utc[:10] < day.isoformat():
                own = job.received
                found.append({"job": job.number, "serial": own.serial, "owner": own.owner, "how": job.closed,
                              "last": job.entries[-1].utc, "runs": len(job.runs)})  # fmt: skip
    return sorted(found, key=lambda row: str(row["last"]))
