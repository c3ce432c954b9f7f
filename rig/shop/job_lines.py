"""One job as a line: what the figures of jobs are made of."""

from __future__ import annotations

import json
from typing import Any

import sqlalchemy as sa

from rig.events import RunEnded
from rig.records import schema
from rig.records.canonical import parsed
from rig.records.facts import Diagnosed, Received
from rig.records.findings import AGAINST_UNIT
from rig.records.job import CLOSES, Job, JobRun, find_job

BAD = tuple(str(verdict) for verdict in AGAINST_UNIT)
Steps = dict[str, dict[str, str]]  # by run: the last verdict of each step


def job_line(connection: sa.Connection, number: str, practice: bool) -> dict[str, Any] | None:
    """The row of ``derived.job_lines``; None where no unit was received under the number. A simulated run counts in a
    store for ``practice`` alone."""
    job = find_job(connection, number)
    if job is None or job.last(Received) is None:
        return None
    runs = [run for run in job.runs if run.closed is not None and (practice or not run.began.simulated)]
    closing = next((found for kind in CLOSES if (found := job.last(kind)) is not None), None)
    released, diagnosed = job.releases, job.last(Diagnosed)
    own = job.received
    first_repair = min((entry.order for entry, _ in job.repairs), default=None)
    early = [run for run in runs if first_repair is None or run.order < first_repair]
    return {
        "job": number,
        "serial": own.serial,
        "unit": own.unit,
        "owner": own.owner,
        "complaint": own.complaint,
        "received": next(entry.utc for entry in job.entries if isinstance(entry.fact, Received)),
        "stage": job.stage,
        "closed": None if closing is None else closing[0].utc,
        "how": job.closed,
        "released": released[0][0].utc if released else None,
        "warranty_of": own.warranty_of,
        "diagnosed": None if diagnosed is None else diagnosed[1].cause,
        "as_found": None if not early else early[0].verdict or "stopped",
        "runs": len(runs),
        "bench_seconds": _seconds(connection, runs),
        "repair_minutes": sum(fact.minutes for _, fact in job.repairs),
        "firsts": json.dumps(_firsts(runs)),
        "repairs": json.dumps(_repairs(job, runs, _steps(connection, runs))),
    }


def _firsts(runs: list[JobRun]) -> dict[str, str]:
    found: dict[str, str] = {}
    for run in runs:
        found.setdefault(run.began.procedure, run.verdict or "stopped")
    return found


def _seconds(connection: sa.Connection, runs: list[JobRun]) -> float:
    e = schema.events.c
    query = sa.select(e.body, e.form).where(e.run.in_([r.run for r in runs]), e.kind == RunEnded.__name__)
    return sum(float(parsed(row.body, row.form)["seconds"]) for row in connection.execute(query))


def _steps(connection: sa.Connection, runs: list[JobRun]) -> Steps:
    q = schema.readings.c
    query = sa.select(q.run, q.step, q.verdict).where(q.run.in_([r.run for r in runs])).order_by(q.run, q.seq)
    found: Steps = {}
    for row in connection.execute(query):
        found.setdefault(row.run, {})[row.step] = row.verdict
    return found


def _repairs(job: Job, runs: list[JobRun], steps: Steps) -> list[dict[str, Any]]:
    places = [entry.order for entry, _ in job.repairs]
    found = []
    for n, (entry, fact) in enumerate(job.repairs):
        until = places[n + 1] if n + 1 < len(places) else None
        parts = [{"part": p.part, "lot": p.lot, "condition": p.condition} for p in fact.parts]
        cured = _cured(runs, steps, entry.order, until)
        found.append({"utc": entry.utc, "by": entry.by, "cause": fact.cause, "minutes": fact.minutes, "parts": parts,
                      "cured": cured})  # fmt: skip
    return found


def _cured(runs: list[JobRun], steps: Steps, repaired: int, until: int | None) -> bool | None:
    """Whether what had failed before a repair passed after it, and before the next; None where it was not measured."""
    failing: dict[str, str] = {}
    again: dict[str, str] = {}
    for run in runs:
        said = steps.get(run.run, {})
        if run.order < repaired:
            failing |= said
        elif until is None or run.order < until:
            again |= said
    measured = [again[step] for step, verdict in failing.items() if verdict in BAD and step in again]
    return all(verdict not in BAD for verdict in measured) if measured else None
