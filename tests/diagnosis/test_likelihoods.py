"""Counting simulated units: rows by degree, the file they are kept in, disagreements with the estimates."""

from __future__ import annotations

import importlib.resources
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest

from rig.cli.likelihoods import draw
from rig.cli.main import run as rig
from rig.cli.simulated_units import SimulatedUnit, run_all
from rig.diagnosis.from_runs import from_run
from rig.diagnosis.likelihoods import (
    SimulatedCase,
    as_file,
    count,
    disagreements,
    kept,
    read_file,
    read_whole,
    worth_running,
)
from rig.errors import InputError
from rig.events import RunRecord
from rig.plan.causes import OUTCOMES
from tests.conftest import inspection
from tests.small_tables import bundled_table, made

TABLE = bundled_table("no-water-level")


def cases() -> list[SimulatedCase]:
    some = [("coil-open", 1.0, 3), ("coil-open", 0.9, 4), ("lead-high-ohm", 1.0, 5), ("not-level", 1.0, 6)]
    return [SimulatedCase(c, s, (inspection(seed, (c, s)),)) for c, s, seed in some]


def test_units_are_counted_by_observation_and_degree() -> None:
    found = count(TABLE, cases(), degrees=2)
    coil = found.counts["coil-resistance", "coil-open"]
    assert coil.shape == (2, len(OUTCOMES))
    assert coil.sum() == pytest.approx(2.0)
    assert coil[:, OUTCOMES.index("normal")].sum() == pytest.approx(0.0, abs=1e-6)
    assert found.counts["tilt", "not-level"][:, OUTCOMES.index("high")].sum() == pytest.approx(1.0)
    assert found.counts["fill-supply-loaded", "lead-high-ohm"][:, OUTCOMES.index("low")].sum() == pytest.approx(1.0)


def test_a_unit_on_which_nothing_shows_is_no_case() -> None:
    quiet, asked = inspection(7), inspection(7, ("hot-restart", 1.0))
    found = count(TABLE, [SimulatedCase("filter-choked", 0.1, (quiet,)), SimulatedCase("hot-restart", 1.0, (asked,))])
    causes = {cause for _, cause in found.counts}
    assert causes == {"hot-restart"}


def test_the_file_gives_back_what_was_kept(tmp_path: Path) -> None:
    found = count(TABLE, cases())
    path = tmp_path / "demo-18-dc.json"
    path.write_text(as_file("demo-18-dc", {"no-water-level": ({"seed": 3}, found)}), encoding="utf-8")
    again = read_file(path, "demo-18-dc", "no-water-level")
    assert again is not None
    assert again.degrees == found.degrees
    assert set(again.counts) == set(found.counts)
    for key, rows in found.counts.items():
        assert again.counts[key] == pytest.approx(rows, abs=6e-4)
    assert read_file(path, "demo-18-dc", "slow-heat") is None
    assert read_file(path, "demo-24-dc", "no-water-level") is None


@pytest.mark.parametrize(
    "text", ["", "[]", '{"likelihoods": "demo-18-dc", "outcomes": []}', "not json", '{"likelihoods": 1']
)
def test_a_file_that_is_none_is_told(tmp_path: Path, text: str) -> None:
    path = tmp_path / "x.json"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(InputError, match="no file of counts"):
        read_file(path, "demo-18-dc", "no-water-level")


def test_where_table_and_simulation_differ_is_told() -> None:
    found = count(TABLE, cases(), degrees=1)
    row = np.zeros((1, len(OUTCOMES)))
    row[0, OUTCOMES.index("normal")] = 20.0
    wrong = disagreements(TABLE, type(found)("demo-18-dc", "no-water-level", {("fill-lead", "lead-high-ohm"): row}, 1))
    assert (wrong[0].observation, wrong[0].cause, wrong[0].outcome) == ("fill-lead", "lead-high-ohm", "normal")
    assert wrong[0].simulation == 1.0
    assert wrong[0].table == pytest.approx(0.07)
    assert disagreements(TABLE, found) == []  # too few cases to say


def test_the_same_seed_draws_the_same_units() -> None:
    causes = set(TABLE.causes)
    one, same, other = (list(draw("demo-18-dc", ("incoming-inspection",), 3, s, causes)) for s in (5, 5, 6))
    assert one == same != other
    assert {u.faults[0][0] for u in one} <= causes
    assert "bottle-vent-shut" not in {u.faults[0][0] for u in one}
    more = list(draw("demo-18-dc", ("incoming-inspection",), 10, 5, causes))
    assert more[: len(one)] == one
    severities = sorted(u.faults[0][1] for u in more if u.faults[0][0] == "coil-open")
    gaps = [b - a for a, b in pairwise([0.4, *severities, 1.0])]
    assert 0.4 <= severities[0] < severities[-1] <= 1.0
    assert max(gaps) < 0.13  # ten places in a span of 0.6


def test_runs_that_were_kept_are_not_run_again(tmp_path: Path) -> None:
    keep, done = tmp_path / "runs.jsonl", []

    def run(unit: SimulatedUnit) -> RunRecord:
        done.append(unit)
        return inspection(unit.seed, *unit.faults)

    one = SimulatedUnit("demo-18-dc", "incoming-inspection", (("coil-open", 1.0),), 3)
    other = SimulatedUnit("demo-18-dc", "incoming-inspection", (("lead-high-ohm", 1.0),), 5)
    (first,) = run_all([one], 1, keep, run)
    with keep.open("a", encoding="utf-8") as file:
        file.write('{"unit": "demo-18-dc", "proc')  # killed while it wrote
    again, new = run_all([one, other], 1, keep, run)
    assert done == [one, other]
    table = TABLE.observations
    for (_, whole), (_, read) in ((first, again), (new, next(run_all([other], 1, keep, run)))):
        assert [e.weights for e in from_run(table, whole)] == [e.weights for e in from_run(table, read)]
        assert [e.words for e in from_run(table, whole)] == [e.words for e in from_run(table, read)]
    keep.write_text("no run\n", encoding="utf-8")
    with pytest.raises(InputError, match="line 1 is no run"):
        list(run_all([one], 1, keep, run))


def test_what_is_run_is_what_feeds_the_table() -> None:
    assert set(worth_running(TABLE)) == {"fill-diagnosis", "incoming-inspection"}
    assert worth_running(made({"a": 1.0}, {"x": {"given": {"a": {"high": 0.9}}}})) == ()


def test_counts_come_with_the_rig_and_say_how_they_were_made() -> None:
    found = kept("demo-18-dc", "no-water-level")
    assert found is not None
    assert set(found.counts) <= {(o, c) for o in TABLE.observations for c in TABLE.causes}
    path = Path(str(importlib.resources.files("procedures"))) / "likelihoods" / "demo-18-dc.json"
    for made_with, _ in read_whole(path, "demo-18-dc").values():
        assert {"rig", "seed", "cases", "severities", "procedures"} <= set(made_with)


def test_nothing_kept_is_told(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("RIG_HOME", str(tmp_path))
    assert rig(["likelihoods", "--unit", "demo-18-d"]) == 2
    assert "nearest is 'demo-18-dc'" in capsys.readouterr().err
