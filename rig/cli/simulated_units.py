"""Many simulated units at once: one procedure on each, on every core; and what was read, kept in a file."""

from __future__ import annotations

import json
import multiprocessing
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import asdict, dataclass, replace
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

from rig.errors import InputError

if TYPE_CHECKING:
    from rig.events import RunRecord, StepResult
    from rig.plan.plan import Plan

BENCH = "simulated"


@dataclass(frozen=True)
class SimulatedUnit:
    """One unit as made (its ``seed``), what is wrong with it (name and severity), and what is run on it."""

    unit: str
    procedure: str
    faults: tuple[tuple[str, float], ...]
    seed: int


def run_one(unit: SimulatedUnit) -> RunRecord:
    """One run in lockstep with the simulated person, kept in memory only."""
    from rig.records.ids import new_run_id
    from rig.run.journal import ListJournal
    from rig.run.session import RunRequest, run_procedure

    request = RunRequest(new_run_id(), faults=unit.faults, seed=unit.seed, person="simulated")
    return run_procedure(request, _plan(unit.procedure, unit.unit), (), lambda run: ListJournal())


def run_all(
    units: Iterable[SimulatedUnit],
    processes: int,
    keep: Path | None = None,
    run: Callable[[SimulatedUnit], RunRecord] = run_one,
) -> Iterator[tuple[SimulatedUnit, RunRecord]]:
    """Every unit with its record, in order, as they are done. Nothing is kept in a store.

    ``keep`` is a file of what was read, a line a run: a run that is in it is not run again, a new one is added to it.
    ``run`` does one. Raises whatever a run raises: InputError for a fault that the unit cannot have.
    """
    wanted = list(units)
    have = _read(keep) if keep is not None and keep.exists() else {}
    new = _done([unit for unit in wanted if unit not in have], processes, run)
    for unit in wanted:
        if unit in have:
            yield unit, have[unit]
            continue
        record = next(new)
        if keep is not None:
            with keep.open("a", encoding="utf-8") as file:
                file.write(json.dumps(_line(unit, record)) + "\n")
        yield unit, record


def _done(
    wanted: list[SimulatedUnit], processes: int, run: Callable[[SimulatedUnit], RunRecord]
) -> Iterator[RunRecord]:
    if processes <= 1:
        yield from map(run, wanted)
        return
    # started afresh: a copy of a process with threads and sockets in it is not to be trusted
    method = multiprocessing.get_context("spawn")
    with ProcessPoolExecutor(processes, mp_context=method) as pool:
        yield from pool.map(run, wanted, chunksize=2)


def _line(unit: SimulatedUnit, record: RunRecord) -> dict[str, Any]:
    """What a diagnosis can use of a run: its steps with a reading, an answer or a bad verdict, without budgets."""
    from rig.events import StepEnded
    from rig.limits import Verdict
    from rig.records.codec import encode

    told = [s for s in record.steps if s.reading or s.answer or s.verdict not in (Verdict.PASS, Verdict.NOT_RUN)]
    steps = [encode(StepEnded(s.ended, _lean(s))) for s in told]
    return {**asdict(unit), "events": [encode(record.started), *steps, encode(record.ended)]}


def _lean(step: StepResult) -> StepResult:
    reading = step.reading and replace(step.reading, parts=(), raw=(), budget=(), corrections=())
    return replace(step, reading=reading)


def _read(path: Path) -> dict[SimulatedUnit, RunRecord]:
    """The runs of a file. Raises InputError for a line that is none; a last line that was cut short is left out."""
    from rig.events import RunEnded, RunRecord, RunStarted, StepEnded
    from rig.records.codec import decode

    text = path.read_text(encoding="utf-8")
    lines = text.splitlines()
    if lines and not text.endswith("\n"):
        path.write_text("".join(f"{line}\n" for line in lines[:-1]), encoding="utf-8")
        lines.pop()
    found = {}
    for n, line in enumerate(lines, 1):
        try:
            told = json.loads(line)
            faults = tuple((str(name), float(severity)) for name, severity in told["faults"])
            started, *steps, ended = map(decode, told["events"])
            assert isinstance(started, RunStarted) and isinstance(ended, RunEnded)
            ends = tuple(s.result for s in steps if isinstance(s, StepEnded))
            unit = SimulatedUnit(told["unit"], told["procedure"], faults, told["seed"])
        except (ValueError, KeyError, TypeError, AssertionError) as error:
            what = f"line {n} is no run that was kept: {error}"
            raise InputError(what, "Name another file, or make it anew.", str(path)) from error
        found[unit] = RunRecord(started, ends, ended)
    return found


@lru_cache(maxsize=32)
def _plan(procedure: str, unit: str) -> Plan:
    from rig.plan.load import load_named
    from rig.plan.plan import make_plan

    return make_plan(load_named("procedure", procedure), load_named("unit-profile", unit), load_named("bench", BENCH))
