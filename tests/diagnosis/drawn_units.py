"""Units drawn for the evaluation: a complaint, one cause or two, severities, and what a bench reads of them.

The bench's readings come from the simulated unit. What no procedure reads (a look, an owner's answer) is drawn from
the table's own chances: there the evaluation can only show that the table agrees with itself.
"""

from __future__ import annotations

import random
import sys
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path

import numpy as np

from rig.cli.likelihoods import LEAST_SEVERITY, known_faults
from rig.cli.simulated_units import SimulatedUnit, run_all, run_one
from rig.diagnosis.evidence import Evidence, one_each, seen
from rig.diagnosis.from_runs import from_run
from rig.diagnosis.likelihoods import SimulatedCase
from rig.diagnosis.together import both
from rig.diagnosis.unit_table import UnitTable
from rig.events import RunRecord
from rig.plan.causes import Outcome
from simulators.unit import making
from simulators.unit.nominals import NOMINALS

TWO = 0.10  # of the units have two causes
WIDER = 1.2  # of the spreads of the simulator's parts


@dataclass(frozen=True)
class DrawnUnit:
    """One unit with its truth and everything that can be seen of it, by observation.

    ``measured`` are the observations that the simulated bench read; the others were drawn from the table.
    """

    complaint: str
    causes: tuple[str, ...]
    severities: tuple[float, ...]
    shows: Mapping[str, Evidence]
    measured: frozenset[str]


def wanted(
    tables: Sequence[UnitTable], many: int, seed: int
) -> Iterator[tuple[str, tuple[tuple[str, float], ...], int]]:
    """Complaint, faults and the unit's seed: causes as often as the tables' bench chances say."""
    stream = random.Random(f"evaluation/{seed}")
    for n in range(many):
        table = tables[n % len(tables)]
        faults = known_faults(table.unit)
        chances = {c: p for c, p in table.start().items() if c in faults}
        if not chances:
            continue
        first = stream.choices(list(chances), list(chances.values()))[0]
        causes = [first]
        if len(chances) > 1 and stream.random() < TWO:
            rest = {c: p for c, p in chances.items() if c != first}
            causes.append(stream.choices(list(rest), list(rest.values()))[0])
        present = tuple((c, round(stream.uniform(LEAST_SEVERITY, 1.0), 4)) for c in causes)
        yield table.complaint, present, stream.randrange(10**9)


def run_wider(unit: SimulatedUnit) -> RunRecord:
    """One run on a unit whose parts are spread wider than those that the likelihoods are counted on."""
    for name, nominal in NOMINALS.items():
        making.MODELS[name] = partial(making.make, nominal, share=WIDER)  # type: ignore[index]
    return run_one(unit)


def drawn_units(
    tables: Sequence[UnitTable],
    many: int,
    seed: int,
    processes: int,
    keep: Path,
    procedures: Mapping[str, Sequence[str]],
) -> tuple[list[DrawnUnit], int]:
    """Run every drawn unit (what is in ``keep`` is not run again), complete what was seen by draws from the tables, and
    say how many were left out: nothing about them is out of order, and nobody would have brought them."""
    by_name = {t.complaint: t for t in tables}
    drawn = list(wanted(tables, many, seed))
    units = [SimulatedUnit(by_name[c].unit, p, f, s) for c, f, s in drawn for p in procedures[c]]
    runs = run_all(units, processes, keep, run_wider)
    stream = np.random.default_rng(seed)
    found, quiet = [], 0
    for n, (complaint, faults, _) in enumerate(drawn, 1):
        table = by_name[complaint]
        records = tuple(next(runs)[1] for _ in procedures[complaint])
        if n % 50 == 0:
            print(f"  {n} of {len(drawn)} units", file=sys.stderr, flush=True)
        causes = tuple(c for c, _ in faults)
        measured = {e.observation: e for e in one_each(e for r in records for e in from_run(table.observations, r))}
        if not SimulatedCase("", 0.0, records).shows:
            quiet += 1
            continue
        shows = {
            n: measured[n] if n in measured else seen(n, _draw(table, n, causes, stream)) for n in table.observations
        }
        found.append(DrawnUnit(complaint, causes, tuple(s for _, s in faults), shows, frozenset(measured)))
    return found, quiet


def _draw(table: UnitTable, name: str, causes: tuple[str, ...], stream: np.random.Generator) -> Outcome:
    outcomes = table.observations[name].outcomes
    rows = [np.array([[table.row(name, c)[0].of(o) for o in outcomes]]) for c in causes]
    healthy = np.array([table.observations[name].healthy.of(o) for o in outcomes])
    chances = rows[0] if len(rows) == 1 else both(rows[0], rows[1], healthy, outcomes)
    return outcomes[int(stream.choice(len(outcomes), p=chances[0] / chances[0].sum()))]
