"""A bench that must be in order before it runs: its self-check of the day, its instruments' calibration."""

from __future__ import annotations

import json
import shlex
from importlib.resources import files
from pathlib import Path

import pytest

from tests.cli.conftest import Rig

SIMULATED = (files("procedures") / "benches" / "simulated.yaml").read_text(encoding="utf-8")
PROCEDURE = """\
procedure: one-look
title: One look
revision: "1"
needs-unit: no
stages:
  - stage: look
    title: A look
    drive: dead
    steps:
      - step: room
        measure: temperature
        at: ambient-temperature
        no-limit: for the eye
"""


def bench(tmp_path: Path, in_order: str, old: str = "", new: str = "") -> str:
    """A copy of the simulated bench that asks to be in order, with one text exchanged."""
    text = SIMULATED.replace("station: demo\n", f"station: demo\nin-order: {in_order}\n", 1)
    assert old in text
    path = tmp_path / "wants-order.yaml"
    path.write_text(text.replace(old, new, 1) if old else text, encoding="utf-8")
    return str(path)


@pytest.fixture
def one_look(tmp_path: Path) -> str:
    path = tmp_path / "one-look.yaml"
    path.write_text(PROCEDURE, encoding="utf-8")
    return str(path)


def test_no_run_before_the_self_check_of_the_day(rig: Rig, tmp_path: Path, one_look: str) -> None:
    asks = bench(tmp_path, "{self-check: bench-self-check}")
    code, _, err = rig("run", one_look, "--bench", asks)
    assert code == 4
    assert "has not checked itself" in err
    assert "--self-check" in err
    assert rig("bench", asks, "--self-check")[0] == 0
    assert rig("run", one_look, "--bench", asks)[0] == 1  # carried out; nothing in it is judged
    assert rig("run", one_look)[0] == 1  # a bench whose file asks for nothing


def test_the_readme_shows_the_refusal(rig: Rig, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Its five lines, one after the other, in an empty folder."""
    readme = (Path(__file__).parents[2] / "README.md").read_text(encoding="utf-8")
    block = readme[readme.index("rig bench simulated --copy") :].partition("```")[0].strip().splitlines()
    monkeypatch.chdir(tmp_path)
    codes, said = [], ""
    for line in block:
        if line.startswith("echo "):
            text, file = shlex.split(line.replace(">>", ""))[1:]
            with Path(file).open("a", encoding="utf-8") as bench_file:
                bench_file.write(text + "\n")
            continue
        code, _, err = rig(*shlex.split(line, comments=True)[1:])
        codes.append(code)
        said += err if code == 4 else ""
    assert codes == [0, 4, 0, 0]
    assert "has not checked itself" in said


def test_a_copy_overwrites_nothing(rig: Rig, tmp_path: Path) -> None:
    mine = tmp_path / "mine.yaml"
    code, out, _ = rig("bench", "simulated", "--copy", str(mine), "--json")
    assert (code, json.loads(out)) == (0, {"copy": str(mine)})
    assert mine.read_text(encoding="utf-8") == SIMULATED
    mine.write_text("my own work", encoding="utf-8")
    code, _, err = rig("bench", "simulated", "--copy", str(mine))
    assert code == 2
    assert "is there already" in err
    assert mine.read_text(encoding="utf-8") == "my own work"
    code, _, err = rig("bench", "simulated", "--copy", str(tmp_path / "no such folder" / "mine.yaml"))
    assert code == 2
    assert "cannot be written" in err


def test_an_old_self_check_counts_for_nothing(rig: Rig, tmp_path: Path, one_look: str) -> None:
    asks = bench(tmp_path, "{self-check: bench-self-check, no-older-than: 1 min}")
    assert rig("bench", asks, "--self-check")[0] == 0
    from datetime import UTC, datetime, timedelta

    from rig.errors import RuleError
    from rig.plan.load import load_named
    from rig.records.shifts import refuse_unchecked
    from rig.records.store import Store

    wiring = load_named("bench", asks).model
    with Store.open(None) as records, records.reading() as connection:
        now = datetime.now(UTC)
        refuse_unchecked(connection, wiring, "one-look", now)  # type: ignore[arg-type]
        refuse_unchecked(connection, wiring, "bench-self-check", now + timedelta(days=9))  # type: ignore[arg-type]
        with pytest.raises(RuleError, match="older than 1 min"):
            refuse_unchecked(connection, wiring, "one-look", now + timedelta(minutes=2))  # type: ignore[arg-type]


def test_a_self_check_that_did_not_pass_refuses_the_run(rig: Rig, tmp_path: Path, one_look: str) -> None:
    strict = (files("procedures") / "bench-self-check.yaml").read_text(encoding="utf-8")
    strict = strict.replace("procedure: bench-", "procedure: strict-")
    strict = strict.replace("{reference-part: hundred-ohm}", "{nominal: 101 Ohm, within: 0.3 %, source: a test}")
    path = tmp_path / "strict-check.yaml"
    path.write_text(strict, encoding="utf-8")
    asks = bench(tmp_path, "{self-check: strict-self-check}")
    assert rig("run", str(path), "--bench", asks)[0] == 1
    code, _, err = rig("run", one_look, "--bench", asks)
    assert code == 4
    assert "ended with 'fail'" in err


def test_an_instrument_out_of_calibration_refuses_the_run(rig: Rig, tmp_path: Path, one_look: str) -> None:
    old = ('calibrated-until: "2027-06-30"', 'calibrated-until: "2020-01-31"')
    code, _, err = rig("run", one_look, "--bench", bench(tmp_path, "{}", *old))
    assert code == 4
    assert "2020-01-31" in err
    assert rig("run", one_look, "--bench", bench(tmp_path, "{calibration: note}", *old))[0] == 1


def test_the_charts_of_the_reference_parts_are_kept_over_the_shifts(rig: Rig) -> None:
    for earlier in range(2):
        code, out, _ = rig("bench", "simulated", "--self-check", "--json")
        assert code == 0
        charts = {c["step"]: c for c in json.loads(out)["charts"]}
        assert charts.keys() == {"short", "hundred-ohm", "hundred-ohm-zeroed", "five-volts", "half-minute"}
        assert charts["half-minute"]["unit"] == "s"
        assert charts["hundred-ohm"]["earlier"] == earlier
        assert charts["hundred-ohm"]["state"]["warning"] == ""


def test_a_gauge_study_on_the_bench(rig: Rig) -> None:
    """One resistor under two names; the figures of both methods come from the runs on record."""
    code, out, _ = rig("gauge", "--people", "Ada,Ben", "--parts", "P1,P2", "--trials", "2", "--json")
    assert code == 0
    found = json.loads(out)
    assert (found["people"], found["parts"], found["trials"], found["unit"]) == (["Ada", "Ben"], ["P1", "P2"], 2, "Ohm")
    assert {s["how"] for s in found["studies"]} == {"analysis of variance", "average and range"}
    assert all(s["ndc"] >= 0 and s["gauge"] > 0 for s in found["studies"])
    code, out, _ = rig("gauge")
    assert code == 0
    assert "distinct categories: " in out


def test_what_is_missing_of_a_study_is_named(rig: Rig) -> None:
    assert rig("gauge")[0] == 2
    assert rig("run", "gauge-study", "--by", "Ada", "--serial", "P1")[0] == 1
    assert rig("run", "gauge-study", "--by", "Ben", "--serial", "P2")[0] == 1
    code, _, err = rig("gauge")
    assert code == 2
    assert "P2 by Ada" in err
    assert rig("gauge", "--people", "Ada", "--parts", "P1,P2")[0] == 2
