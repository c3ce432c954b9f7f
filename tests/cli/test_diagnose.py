"""``rig diagnose``: over the telephone, from a run, from prepared answers."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from rig.cli.main import run as rig

ANSWERS = """\
reservoir-level: normal
rest-before-start: "yes"
tilt: no more than 5 mm in a metre
water-at-give-up: high
water-conductivity: don't know
"""


@pytest.fixture(autouse=True)
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("RIG_HOME", str(tmp_path / "home"))
    return tmp_path


def printed(capsys: pytest.CaptureFixture[str], *words: str) -> tuple[Any, str]:
    code = rig(["diagnose", *words, "--json"])
    out, err = capsys.readouterr()
    assert code == 0, err
    return json.loads(out), err


def test_without_an_answer_the_ranking_is_the_prior(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    answers = tmp_path / "answers.yaml"
    answers.write_text('tilt: "don\'t know"\n', encoding="utf-8")
    found, err = printed(capsys, "--complaint", "no-water-level", "--answers", str(answers))
    assert err.startswith("CAUTION")
    shares = {c["cause"]: c["probability"] for c in found["causes"]}
    assert len(shares) == 22
    assert sum(shares.values()) == pytest.approx(1.0)
    assert next(iter(shares)) == "filter-choked"
    assert shares["reservoir-low"] / shares["probe-coated"] == pytest.approx(0.155 / 0.110)
    assert "tilt" not in [n["observation"] for n in found["next"]]
    assert all(n["who"] == "owner" for n in found["next"])


def test_prepared_answers_are_all_taken(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    answers = tmp_path / "answers.yaml"
    answers.write_text(ANSWERS, encoding="utf-8")
    found, _ = printed(capsys, "--complaint", "no-water-level", "--answers", str(answers))
    assert found["causes"][0]["cause"] == "probe-coated"
    assert [o["observation"] for o in found["observed"]] == [
        "reservoir-level", "rest-before-start", "tilt", "water-at-give-up",
    ]  # fmt: skip
    assert any("covers the probe" in s for s in found["causes"][0]["for"])
    for one in found["next"]:
        assert set(one) >= {"observation", "minutes", "bits", "who", "needs"}


def test_bad_answers_are_told_by_place(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    answers = tmp_path / "answers.yaml"
    answers.write_text("tilt: hihg\nreservoir-levl: low\nwater-at-give-up: [low]\n", encoding="utf-8")
    assert rig(["diagnose", "--complaint", "no-water-level", "--answers", str(answers)]) == 2
    lines = [line for line in capsys.readouterr().err.splitlines() if "answers.yaml" in line]
    assert [line.split(":")[1:3] for line in lines] == [["1", "7"], ["2", "1"], ["3", "19"]]
    assert "nearest is 'high'" in lines[0]
    assert "nearest is 'reservoir-level'" in lines[1]


def test_questions_are_asked_on_stderr_until_there_is_something_to_try(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    said = iter(["nonsense\n", "2\n"])

    def answer() -> str:
        return next(said, "don't know\n")

    monkeypatch.setattr("sys.stdin.readline", answer)
    found, err = printed(capsys, "--complaint", "no-water-level")
    assert err.index("CAUTION") < err.index("? ")
    assert "Once more, please." in err
    assert found["observed"][0]["observation"] == "reservoir-level"
    assert found["causes"][0]["cause"] == "reservoir-low"
    assert found["advice"]["do"] in ("try", "book it in")


def test_what_takes_a_run_of_the_unit_has_its_caution_before_the_question(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("sys.stdin.readline", lambda: "don't know\n")
    _, err = printed(capsys, "--complaint", "slow-heat")
    assert "? While it heats" in err
    before = err[: err.index("? While it heats")]
    assert "CAUTION" in before[before.rindex("?") :]
    assert "Stand clear of door and vent." in before
    assert "electrician" not in err


def test_the_end_of_the_input_ends_the_questions(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("sys.stdin.readline", lambda: "")
    found, _ = printed(capsys, "--complaint", "slow-heat")
    assert found["observed"] == []
    assert found["causes"][0]["cause"] in ("gasket-worn", "vent-valve-open")


@pytest.mark.parametrize(("fault", "seed"), [("rectifier-open", "3"), ("coil-open", "11"), ("one-element-open", "4")])
def test_from_a_run_the_fault_that_was_put_in_comes_first(
    capsys: pytest.CaptureFixture[str], fault: str, seed: str
) -> None:
    rig(["run", "incoming-inspection", "--fault", fault, "--seed", seed, "--person", "simulated", "--json"])
    run = json.loads(capsys.readouterr().out)["run"]
    found, err = printed(capsys, "--run", run)
    assert found["causes"][0]["cause"] == fault
    assert found["complaint"] in err
    assert found["fit"]["fits"]
    assert all(o["from"].startswith("run ") for o in found["observed"])
    assert rig(["diagnose", "--run", run, "--sources"]) == 0
    text = capsys.readouterr().out
    assert fault in text
    assert "in 100 units" in text
    assert "Repeat afterwards" in text or "Look next" in text


def test_all_runs_of_a_job_count(capsys: pytest.CaptureFixture[str]) -> None:
    for _ in range(2):
        rig(["run", "incoming-inspection", "--fault", "ground-open", "--job", "17", "--person", "simulated", "--json"])
    capsys.readouterr()
    found, _ = printed(capsys, "--job", "17")
    assert found["causes"][0]["cause"] == "ground-open"
    assert len({o["from"].split(",")[0] for o in found["observed"]}) >= 1
    assert rig(["diagnose", "--job", "18", "--json"]) == 2
    assert "no run on record belongs to job" in capsys.readouterr().err


def test_what_is_asked_must_be_said(capsys: pytest.CaptureFixture[str]) -> None:
    assert rig(["diagnose"]) == 2
    assert rig(["diagnose", "--complaint", "no-water"]) == 2
    assert "nearest is 'no-water-level'" in capsys.readouterr().err
