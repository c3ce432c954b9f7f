"""Chances counted on simulated units, kept in a file with their seed and version, and held against the estimates.

A cause's units are drawn from hardly to wholly there, and split into *degrees* of equal numbers: within a degree the
observations are taken as independent, between degrees they hang together as the severity makes them. A case counts in
part for the degrees next to its own (a kernel estimate: B. W. Silverman, Density Estimation, 1986, 2.4).
"""

from __future__ import annotations

import importlib.resources
import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from rig.diagnosis.evidence import known, one_each
from rig.diagnosis.from_runs import from_run
from rig.diagnosis.learn import Simulated
from rig.diagnosis.model import Vector
from rig.diagnosis.unit_table import UnitTable
from rig.errors import InputError
from rig.events import RunRecord
from rig.limits import Verdict
from rig.plan.causes import OUTCOMES

DEGREES = 4
NEIGHBOURS = 0.6  # degrees within which a case tells of its neighbours (standard deviation of a normal weight)
APART = 0.2  # two chances that differ by more than this: ask which is wrong, the estimate or the simulation
FEW = 8  # cases below which a disagreement says nothing

_BAD = (Verdict.FAIL, Verdict.CONDITIONAL_FAIL, Verdict.STOPPED)


@dataclass(frozen=True)
class SimulatedCase:
    """One simulated unit with one cause, and what was run on it."""

    cause: str
    severity: float
    records: tuple[RunRecord, ...]

    @property
    def shows(self) -> bool:
        """Whether anything on it is out of order: nobody complains of a unit on which nothing is."""
        return any(step.verdict in _BAD for record in self.records for step in record.steps)


@dataclass(frozen=True)
class Disagreement:
    """A chance that the table and the simulation put further apart than ``APART``."""

    observation: str
    cause: str
    outcome: str
    table: float
    simulation: float
    cases: float


def count(table: UnitTable, cases: Iterable[SimulatedCase], degrees: int = DEGREES) -> Simulated:
    """The counts of one table's rows. Cases of causes that the table has not are left out, and units on which nothing
    shows: not on the bench, and not in what the owner is asked."""
    by_cause: dict[str, list[SimulatedCase]] = {}
    for case in cases:
        if case.cause in table.causes and case.shows:
            by_cause.setdefault(case.cause, []).append(case)
    counts: dict[tuple[str, str], Vector] = {}
    for some in by_cause.values():
        ordered = sorted(some, key=lambda c: c.severity)
        for n, case in enumerate(ordered):
            _add(counts, table, case, _parts((n + 0.5) / len(ordered), degrees))
    return Simulated(table.unit, table.complaint, counts, degrees)


def _parts(place: float, degrees: int) -> Vector:
    """How much of a case each degree counts, (degrees,), parts of one; ``place`` is the case's among those of its
    cause, from 0 for the least severe to 1. A case at the edge of a degree tells of both."""
    middles = (np.arange(degrees) + 0.5) / degrees
    near = np.exp(-0.5 * ((place - middles) * degrees / NEIGHBOURS) ** 2)
    found: Vector = near / near.sum()
    return found


def _add(counts: dict[tuple[str, str], Vector], table: UnitTable, case: SimulatedCase, parts: Vector) -> None:
    for one in one_each(e for r in case.records for e in from_run(table.observations, r)):
        told = known(one.weights, table.observations[one.observation].outcomes)
        if not told:
            continue
        row = counts.setdefault((one.observation, case.cause), np.zeros((len(parts), len(OUTCOMES))))
        total = sum(told.values())
        for outcome, weight in told.items():
            row[:, OUTCOMES.index(outcome)] += parts * weight / total


def worth_running(table: UnitTable) -> tuple[str, ...]:
    """The procedures that feed a table, the one that gives most first; one that adds fewer than two is left out."""
    gives: dict[str, set[str]] = {}
    for name, seen in table.observations.items():
        for source in seen.from_:
            gives.setdefault(source.procedure, set()).add(name)
    found: list[str] = []
    had: set[str] = set()
    while gives:
        best = max(gives, key=lambda p: len(gives[p] - had))
        adds = gives.pop(best) - had
        if len(adds) < 2:
            break
        found.append(best)
        had |= adds
    return tuple(found)


def disagreements(table: UnitTable, simulated: Simulated) -> list[Disagreement]:
    """Where the table's numbers and the simulation differ, the widest first."""
    found = []
    for (observation, cause), counts in simulated.counts.items():
        cases = float(counts.sum())
        if observation not in table.observations or cause not in table.causes or cases < FEW:
            continue
        row, _ = table.row(observation, cause)
        for outcome in table.observations[observation].outcomes:
            chance = float(counts[:, OUTCOMES.index(outcome)].sum()) / cases
            if abs(chance - row.of(outcome)) > APART:
                found.append(Disagreement(observation, cause, outcome, row.of(outcome), chance, cases))
    return sorted(found, key=lambda d: -abs(d.table - d.simulation))


def as_file(unit: str, counted: Mapping[str, tuple[Mapping[str, Any], Simulated]]) -> str:
    """The text of a file of counts: by complaint how they came about (seed, version, procedures, severities) and the
    rows, one a line."""
    head = {"likelihoods": unit, "numbers": "simulated", "outcomes": list(OUTCOMES)}
    tables = []
    for complaint, (made_with, one) in sorted(counted.items()):
        rows = [
            f"        {json.dumps(f'{observation}/{cause}')}: {json.dumps(np.round(counts, 3).tolist())}"
            for (observation, cause), counts in sorted(one.counts.items())
        ]
        body = '      "rows": {\n' + ",\n".join(rows) + "\n      }"
        tables.append(f'    {json.dumps(complaint)}: {{\n      "made-with": {json.dumps(made_with)},\n{body}\n    }}')
    lines = [f"  {json.dumps(k)}: {json.dumps(v)}" for k, v in head.items()]
    lines.append('  "tables": {\n' + ",\n".join(tables) + "\n  }")
    return "{\n" + ",\n".join(lines) + "\n}\n"


def read_file(path: Path, unit: str, complaint: str) -> Simulated | None:
    """The counts of one table from a file; None where it has none. Raises InputError for a file that is none."""
    found = read_whole(path, unit).get(complaint)
    return None if found is None else found[1]


def read_whole(path: Path, unit: str) -> dict[str, tuple[Mapping[str, Any], Simulated]]:
    """By complaint, how the counts came about and the counts. Raises InputError for a file that is none."""
    try:
        text = json.loads(path.read_text(encoding="utf-8"))
        if text["likelihoods"] != unit:
            return {}
        if tuple(text["outcomes"]) != OUTCOMES:
            raise ValueError("its outcomes are others")
        return {c: (dict(t["made-with"]), _simulated(unit, c, t["rows"])) for c, t in text["tables"].items()}
    except (OSError, ValueError, KeyError, TypeError, AttributeError) as error:
        what = f"this is no file of counts: {error}"
        raise InputError(what, "Make it anew with 'rig likelihoods'.", str(path)) from error


def _simulated(unit: str, complaint: str, rows: Any) -> Simulated:
    counts = {}
    for key, row in rows.items():
        observation, _, cause = key.partition("/")
        counts[observation, cause] = _counts(row)
    return Simulated(unit, complaint, counts, max((len(c) for c in counts.values()), default=1))


def _counts(rows: Any) -> Vector:
    found = np.array(rows, dtype=float)
    if found.ndim != 2 or found.shape[1] != len(OUTCOMES) or not np.isfinite(found).all() or (found < 0).any():
        raise ValueError("a row is not a list of counts")
    return found


def kept(unit: str, complaint: str, own: Path | None = None) -> Simulated | None:
    """The counts for a unit: those that the shop made (``own``), else those that come with the rig."""
    bundled = Path(str(importlib.resources.files("procedures"))) / "likelihoods" / f"{unit}.json"
    for path in (own, bundled):
        if path is not None and path.is_file():
            return read_file(path, unit, complaint)
    return None
