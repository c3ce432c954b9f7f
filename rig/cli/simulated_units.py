"""Many simulated units at once: one procedure on each, on every core."""

from __future__ import annotations

import multiprocessing
from collections.abc import Iterable, Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from rig.events import RunRecord
    from rig.plan.plan import Plan

BENCH = "simulated"


@dataclass(frozen=True)
class SimulatedUnit:
    """One unit as made (its ``seed``), what is wrong with it (name and severity), and what is run on it."""

    unit: str
    procedure: str
    faults: tuple[tuple[str, float], ...]
    seed: int


def run_all(units: Iterable[SimulatedUnit], processes: int) -> Iterator[tuple[SimulatedUnit, RunRecord]]:
    """Every unit with its record, in order, as they are done. Nothing is kept in a store.

    Raises whatever a run raises: InputError for a fault that the unit cannot have.
    """
    wanted = list(units)
    if processes <= 1:
        yield from zip(wanted, map(run_one, wanted), strict=True)
        return
    # started afresh: a copy of a process with threads and sockets in it is not to be trusted
    method = multiprocessing.get_context("spawn")
    with ProcessPoolExecutor(processes, mp_context=method) as pool:
        yield from zip(wanted, pool.map(run_one, wanted, chunksize=2), strict=True)


def run_one(unit: SimulatedUnit) -> RunRecord:
    """One run in lockstep with the simulated person, kept in memory only."""
    from rig.records.ids import new_run_id
    from rig.run.journal import ListJournal
    from rig.run.session import RunRequest, run_procedure

    request = RunRequest(new_run_id(), faults=unit.faults, seed=unit.seed, person="simulated")
    return run_procedure(request, _plan(unit.procedure, unit.unit), (), lambda run: ListJournal())


@lru_cache(maxsize=32)
def _plan(procedure: str, unit: str) -> Plan:
    from rig.plan.load import load_named
    from rig.plan.plan import make_plan

    return make_plan(load_named("procedure", procedure), load_named("unit-profile", unit), load_named("bench", BENCH))
