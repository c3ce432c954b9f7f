"""How steps come out, counted: failures, readings that pile up just inside a limit, latest values, instruments."""

from __future__ import annotations

import json
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from itertools import islice
from typing import Any

import sqlalchemy as sa

from rig.events import StepEnded
from rig.limits import Verdict
from rig.records import derived, schema
from rig.records.canonical import parsed
from rig.records.upsert import upsert
from rig.shop.drift import drift

FAILED = (str(Verdict.FAIL), str(Verdict.CONDITIONAL_FAIL))
UNREAD = (str(Verdict.NO_READING), str(Verdict.STOPPED))
KEPT = 60  # latest values of a step: what a chart is made of
BIN = 0.05  # of the width between the limits, or of the one limit: how near "just inside" is
RUNS_AT_ONCE = 200
Month = tuple[str, str, str, str, str]  # month, bench, unit profile, procedure, step
Series = tuple[str, str, str, str]  # bench, unit profile, procedure, step


@dataclass
class Counted:
    """What some runs add to the derived tables."""

    months: dict[Month, dict[str, int]] = field(default_factory=dict)
    latest: dict[Series, list[tuple[str, float, str]]] = field(default_factory=dict)
    used: set[tuple[str, str]] = field(default_factory=set)


def near_limit(value: float, at_least: float | None, at_most: float | None) -> str:
    """Where a value lies about its nearer limit, in bins of one width: ``inner`` is the second bin inside the limit,
    ``inside`` the first, ``outside`` the first beyond it; else nothing."""
    for limit, inward in ((at_most, -1.0), (at_least, 1.0)):
        if limit is None:
            continue
        span = at_most - at_least if at_least is not None and at_most is not None else abs(limit)
        width = BIN * span
        if width <= 0:
            continue
        place = (value - limit) * inward / width
        if -1.0 <= place < 0.0:
            return "outside"
        if 0.0 <= place < 2.0:
            return "inside" if place < 1.0 else "inner"
    return ""


def count_runs(connection: sa.Connection, runs: Iterable[str], practice: bool) -> Counted:
    """Count the steps of finished runs; those of simulated units in a store for ``practice`` alone."""
    counted = Counted()
    left = iter(runs)
    while some := list(islice(left, RUNS_AT_ONCE)):
        _count(connection, some, practice, counted)
    return counted


def _count(connection: sa.Connection, runs: Sequence[str], practice: bool, counted: Counted) -> None:
    r, e = schema.runs.c, schema.events.c
    query = sa.select(e.run, e.body, e.form, r.bench, r.unit, r.procedure, r.utc).join(schema.runs, r.run == e.run)
    query = query.where(e.run.in_(runs), e.kind == StepEnded.__name__)
    if not practice:
        query = query.where(r.simulated.is_(False))
    for row in connection.execute(query.order_by(e.run, e.seq)):
        result = parsed(row.body, row.form)["result"]
        series = (row.bench, row.unit, row.procedure, result["name"])
        _count_step(counted, result, series, row.utc[:7], row.run)


def _count_step(counted: Counted, result: dict[str, Any], series: Series, month: str, run: str) -> None:
    verdict, reading, limit = result["verdict"], result["reading"], result["limit"]
    if verdict == Verdict.NOT_RUN:
        return
    row = counted.months.setdefault((month, *series), dict.fromkeys(derived.COUNTS, 0))
    row["done"] += 1
    row["failed"] += verdict in FAILED
    row["unread"] += verdict in UNREAD
    if reading is None:
        return
    if reading.get("instrument"):
        counted.used.add((reading["instrument"], run))
    if reading["bound"] is not None:
        return
    counted.latest.setdefault(series, []).append((run, reading["value"], reading["unit"]))
    if limit is not None and limit["unit"] == reading["unit"]:
        where = near_limit(reading["value"], limit["at_least"], limit["at_most"])
        if where:
            row[where] += 1


def keep(connection: sa.Connection, counted: Counted) -> None:
    """Add what was counted to the derived tables."""
    names = ("month", "bench", "unit", "procedure", "step")
    months = [dict(zip(names, key, strict=True)) | row for key, row in counted.months.items()]
    upsert(connection, derived.step_months, months, add=derived.COUNTS)
    used = [{"instrument": instrument, "run": run} for instrument, run in sorted(counted.used)]
    upsert(connection, derived.instruments_used, used)
    _keep_latest(connection, counted)


def _keep_latest(connection: sa.Connection, counted: Counted) -> None:
    t = derived.step_charts
    rows = []
    for bench, unit, procedure in sorted({key[:3] for key in counted.latest}):
        there = sa.select(t).where(t.c.bench == bench, t.c.unit == unit, t.c.procedure == procedure)
        known = {row.step: row for row in connection.execute(there)}
        for key, values in counted.latest.items():
            if key[:3] != (bench, unit, procedure):
                continue
            in_unit = values[-1][2]
            before = known.get(key[3])
            old = json.loads(before.latest) if before is not None and before.in_unit == in_unit else []
            all_values = sorted([*map(tuple, old), *((run, value) for run, value, u in values if u == in_unit)])
            row: dict[str, str | None] = {"bench": bench, "unit": unit, "procedure": procedure}
            row |= {"step": key[3], "in_unit": in_unit}
            latest = all_values[-KEPT:]
            told = drift([value for _, value in latest])
            rows.append(row | {"latest": json.dumps(latest), "drift": None if told is None else json.dumps(told)})
    upsert(connection, t, rows)
