"""Every judged number of a whole run, found again from the JSON of its record and from nothing else."""

from __future__ import annotations

import json

import pytest

from rig.events import RunRecord, run_dict
from rig.judgement.recompute import recompute
from rig.limits import Verdict
from tests.conftest import inspection


@pytest.fixture(scope="module")
def healthy() -> RunRecord:
    return inspection(3)


ON_OTHER_GROUNDS = {str(Verdict.NOT_EVALUATED), str(Verdict.NO_READING)}


def test_uncertainty_verdict_and_probability_come_from_the_record_alone(healthy: RunRecord) -> None:
    steps = json.loads(json.dumps(run_dict(healthy)))["steps"]
    judged = 0
    for step in steps:
        found = recompute(step)
        if found is None:
            continue
        assert found.u == pytest.approx(step["reading"]["u"], rel=1e-12)
        assert found.dof == pytest.approx(step["reading"]["dof"])
        if found.verdict is None or step["verdict"] in ON_OTHER_GROUNDS:
            continue
        judged += 1
        assert str(found.verdict) == step["verdict"], step["name"]
        assert found.conformance_probability == pytest.approx(step["conformance_probability"], abs=1e-12)
        assert found.ratio == pytest.approx(step["ratio"])
    assert judged >= 20


def test_a_correction_stands_in_the_record_with_its_rule(healthy: RunRecord) -> None:
    (step,) = [s for s in run_dict(healthy)["steps"] if s["name"] == "coil-resistance-at-20"]
    (made,) = step["reading"]["corrections"]
    assert made["name"] == "copper-at-20"
    assert made["after"] == pytest.approx(step["reading"]["value"])
    assert "IEC 60034-1" in made["basis"]


def test_what_two_readings_have_in_common_is_met_once(healthy: RunRecord) -> None:
    """Heater power from current and voltage squared over itself: the voltage's own error is in it once, with a sign."""
    (step,) = [s for s in run_dict(healthy)["steps"] if s["name"] == "heater-power-at-rated"]
    lines = step["reading"]["budget"]
    assert {"heater-current", "mains-under-load"} == {line["name"].partition(": ")[0] for line in lines}
    assert all(line["origin"] for line in lines)
