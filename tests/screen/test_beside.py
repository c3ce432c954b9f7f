"""Two runs in two threads of one process: neither leaves a trace in the other."""

from __future__ import annotations

import threading
from dataclasses import replace
from pathlib import Path

import pytest

from rig.cli.performing import Prepared, Wanted
from rig.cli.who import ENVIRONMENT, given_pin
from rig.errors import InputError
from rig.events import Event, RunRecord, Sampled, Traced
from rig.records.store import Store
from rig.screen import running as room
from rig.screen.running import Over, Running

FILL = str(Path(__file__).parents[1] / "faults" / "kills" / "strike.yaml")  # meter, edges, waveform, scale, a fault


def carried_out(store: Path, *seeds: int) -> list[tuple[RunRecord, list[Event]]]:
    """A run for each seed, all at once: its record, and what was measured meanwhile."""
    url = f"sqlite:///{store}"
    runs = [Running(Wanted(FILL, seed=s, person="simulated", faults=(("lead-high-ohm", s / 10),), store=url), "", 0.0)
            for s in seeds]  # fmt: skip
    for run in runs:
        run.start()
    found = []
    for run in runs:
        assert run.join(200.0)
        told = []
        while not run.told.empty():
            told.append(run.told.get())
        over = told[-1]
        assert isinstance(over, Over)
        assert over.record is not None, over.fault
        found.append((over.record, [one for one in told if isinstance(one, Sampled | Traced)]))
    return found


def test_runs_beside_one_another_measure_what_each_does_alone(tmp_path: Path) -> None:
    beside = carried_out(tmp_path / "both.sqlite", 3, 4)
    alone = [one for seed in (3, 4) for one in carried_out(tmp_path / f"{seed}.sqlite", seed)]
    for (record, measured), (by_itself, measured_then) in zip(beside, alone, strict=True):
        assert record.steps == by_itself.steps
        assert measured == measured_then
        assert replace(record.ended, wall_seconds=0.0) == replace(by_itself.ended, wall_seconds=0.0)
    assert beside[0][0].steps != beside[1][0].steps
    with Store.open(f"sqlite:///{tmp_path / 'both.sqlite'}") as records:
        assert records.problems() == ()
        for record, _ in beside:
            assert records.read_run(record.started.run).steps == record.steps


def test_a_pin_that_was_typed_for_one_run_is_not_the_others(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    both, found = threading.Barrier(2), {}

    def refuse(prepared: Prepared, records: Store) -> None:
        both.wait(60.0)
        found[prepared.wanted.by] = given_pin(None, ENVIRONMENT)
        raise InputError("the test has seen enough")

    monkeypatch.setattr(room, "run_facts", refuse)
    url = f"sqlite:///{tmp_path / 'records.sqlite'}"
    runs = [Running(Wanted(FILL, by=by, person="simulated", store=url), pin, 0.0)
            for by, pin in (("A. Bench", "471147"), ("B. Bench", ""))]  # fmt: skip
    for run in runs:
        run.start()
    assert all(run.join(100.0) for run in runs)
    assert found == {"A. Bench": "471147", "B. Bench": None}
    assert given_pin(None, ENVIRONMENT) is None
