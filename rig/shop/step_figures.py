"""Figures of steps: failure rates, readings that pile up just inside a limit, drifts."""

from __future__ import annotations

import json
import math
from typing import Any

import sqlalchemy as sa

from rig.records import derived
from rig.shop.figures import Asked

Z95 = 1.959964  # standard normal, 97.5 %
PILED = 3.0  # standard deviations of counting: about one step in 700 by chance
FEWEST_INSIDE = 10


def wilson(failed: int, done: int) -> tuple[float, float]:
    """The 95 % interval of a share by Wilson's score (NIST/SEMATECH e-Handbook, 7.2.4.1)."""
    if not done:
        return 0.0, 1.0
    p, z2 = failed / done, Z95 * Z95
    middle = (p + z2 / (2 * done)) / (1 + z2 / done)
    reach = Z95 * math.sqrt(p * (1 - p) / done + z2 / (4 * done * done)) / (1 + z2 / done)
    return max(0.0, middle - reach), min(1.0, middle + reach)


def piled_up(inner: int, inside: int, outside: int) -> float:
    """By how many standard deviations the bin just inside a limit is fuller than the mean of its two neighbours.

    In a smooth distribution the three lie about on a line; counts scatter as Poisson's do. The idea is that of a test
    for a step in a density (J. McCrary, J. Econometrics 142 (2008) 698, cited from memory); these bins are our own."""
    spread = math.sqrt(inside + (inner + outside) / 4)
    return (inside - (inner + outside) / 2) / spread if spread else 0.0


def step_rates(connection: sa.Connection, asked: Asked) -> list[dict[str, Any]]:
    """Each step by bench and unit profile, the worst first; by whole months, which is how they are kept."""
    m = derived.step_months.c
    keys = (m.bench, m.unit, m.procedure, m.step)
    query = sa.select(*keys, *(sa.func.sum(m[name]).label(name) for name in derived.COUNTS)).group_by(*keys)
    if asked.since is not None:
        query = query.where(m.month >= asked.since.isoformat()[:7])
    if asked.until is not None:
        query = query.where(m.month <= asked.until.isoformat()[:7])
    found = []
    for row in connection.execute(query).mappings():
        judged = int(row["done"]) - int(row["unread"])
        low, high = wilson(int(row["failed"]), judged)
        piled = piled_up(int(row["inner"]), int(row["inside"]), int(row["outside"]))
        counts = {name: int(row[name]) for name in derived.COUNTS}
        where = {name: row[name] for name in ("bench", "unit", "procedure", "step")}
        found.append(where | counts | {"share": counts["failed"] / judged if judged else None, "low": low, "high": high,
                                       "piled": piled})  # fmt: skip
    return sorted(found, key=lambda r: (-(r["low"]), r["procedure"], r["step"], r["bench"], r["unit"]))


def piling_up(rates: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """Steps whose readings pile up just inside a limit: somebody may try until it fits, or round towards it."""
    found = [row for row in rates if row["inside"] >= FEWEST_INSIDE and row["piled"] > PILED]
    return sorted(found, key=lambda row: -float(row["piled"]))


def drifts(connection: sa.Connection) -> list[dict[str, Any]]:
    """Steps whose latest values have left their own chart, by bench and profile.

    The chart is of the older half of the latest values; an EWMA over the newer half is held against it (NIST/SEMATECH
    e-Handbook, 6.3.2.2 and 6.3.2.4). Units differ more than a bench drifts: a drift on one bench alone is the bench's.
    """
    t = derived.step_charts
    found = []
    for row in connection.execute(sa.select(t).where(t.c.drift.is_not(None))).mappings():
        values = [float(value) for _, value in json.loads(row["latest"])]
        where = {name: row[name] for name in ("bench", "unit", "procedure", "step")}
        found.append(where | {"in_unit": row["in_unit"], "values": values} | json.loads(row["drift"]))
    return sorted(found, key=lambda r: -abs(float(r["shift"])))
