"""What falls due: calibrations of instruments, concessions, and which units an instrument has measured."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

import sqlalchemy as sa

from rig.records import derived, ledger, schema
from rig.records.facts import Conceded
from rig.records.job import find_job
from rig.shop.figures import Asked


def calibrations(connection: sa.Connection, today: date, days: int) -> list[dict[str, Any]]:
    """Instruments whose calibration ends within so many days or has ended, as they were at their bench's latest run;
    the earliest first."""
    s = derived.instruments_seen
    last = (today + timedelta(days=days)).isoformat()
    query = sa.select(s).where(s.c.calibrated_until.is_not(None), s.c.calibrated_until <= last)
    rows = connection.execute(query.order_by(s.c.calibrated_until, s.c.bench, s.c.name)).mappings()
    return [dict(row) | {"overdue": row["calibrated_until"] < today.isoformat()} for row in rows]


def concessions(connection: sa.Connection, today: date, days: int) -> list[dict[str, Any]]:
    """Concessions that end within so many days or have ended, the earliest first; in jobs that went out, the unit is
    at its owner's."""
    last = (today + timedelta(days=days)).isoformat()
    found = []
    for entry in ledger.read(connection, kinds=(Conceded,)):
        fact = entry.fact
        if isinstance(fact, Conceded) and fact.until <= last:
            number = entry.subject.removeprefix("job:")
            job = find_job(connection, number)
            unit = {"serial": "", "owner": "", "closed": ""}
            if job is not None:
                unit = {"serial": job.received.serial, "owner": job.received.owner, "closed": job.closed}
            found.append({"job": number, "finding": fact.finding, "until": fact.until, "reason": fact.reason,
                          "by": entry.by, "overdue": fact.until < today.isoformat()} | unit)  # fmt: skip
    return sorted(found, key=lambda row: (str(row["until"]), str(row["job"])))


def measured_with(connection: sa.Connection, instrument: str, asked: Asked) -> dict[str, Any]:
    """The runs and units with readings of an instrument (a part of its name or serial number, as readings name it)
    in a period, and how it is named there."""
    u, r = derived.instruments_used.c, schema.runs.c
    every = connection.execute(sa.select(u.instrument).distinct()).scalars()
    named = sorted(name for name in every if instrument.casefold() in name.casefold())
    query = sa.select(r.run, r.serial, r.job, r.utc, r.bench, r.procedure).join(schema.runs, r.run == u.run)
    query = query.where(u.instrument.in_(named)).distinct().order_by(r.utc, r.run)
    runs = [dict(row) for row in connection.execute(query).mappings() if asked.holds(row["utc"])]
    units = sorted({run["serial"] for run in runs if run["serial"]})
    return {"instrument": instrument, "named": named, "units": units, "runs": runs}
