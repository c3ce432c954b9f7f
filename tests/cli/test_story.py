"""The whole story by its commands: a unit with a faulty rectifier comes, is inspected, repaired, tested again, released
by another person and shipped; its certificate is checked. Then every short cut, refused or exposed."""

from __future__ import annotations

import functools
import json
import re
import shlex
import shutil
import sqlite3
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import argon2
import pytest

from rig.plan.load import bundled

Rig = Callable[..., tuple[int, str, str]]
README = Path(__file__).parents[2] / "README.md"

FINAL = """\
procedure: final-inspection
title: Final inspection, in short
revision: "1"
stages:
  - stage: looks
    title: Looks
    drive: dead
    cautions: [Gloves.]
    steps:
      - step: covers-closed
        ask: Are all covers closed?
        verb: look
        thing: door-shut
        answer: yes or no
        expect: yes
      - step: ambient
        measure: temperature
        at: ambient-temperature
        limit: {at-least: 10 Cel, at-most: 35 Cel, source: invented for the tests}
"""
SAFETY = FINAL.replace("final-inspection", "electrical-safety").replace("Final inspection", "Electrical safety")
# What a rectifier makes one measure again, asked for instead of measured: the way of the records is tried here.
AGAIN = FINAL[: FINAL.index("      - step")].replace("final-inspection", "fill-again") + "".join(
    f"""\
      - step: {step}
        ask: Is {step} in order?
        verb: look
        thing: door-shut
        answer: yes or no
        expect: yes
"""
    for step in ("fill-supply-loaded", "fill-current-from-board", "fill-time")
)
PINS = {"L. Lead": "lead-pin-1", "A. Bench": "tech-pin-1", "Q. Reviewer": "q-pin-123", "T. Both": "both-pin-1"}


@dataclass
class House:
    """A store with its people; every act by name, with that person's PIN from a file."""

    rig: Rig
    folder: Path

    def __call__(self, by: str, *words: str, code: int = 0) -> str:
        """Act as somebody; what it printed, stdout then stderr."""
        found, out, err = self.rig(*words, "--by", by, "--pin-file", str(self.folder / f"{by}.pin"))
        assert found == code, f"{words}: exit {found}\n{out}\n{err}"
        return out + err

    def file(self, name: str, text: str) -> str:
        path = self.folder / name
        path.write_text(text, encoding="utf-8")
        return str(path)

    def run(self, procedure: str, *words: str, by: str = "A. Bench", code: int = 0) -> str:
        return self(by, "run", procedure, "--job", "1", "--person", "simulated", *words, code=code)


@pytest.fixture
def cheap_pins(monkeypatch: pytest.MonkeyPatch) -> None:
    """PINs of little cost: each is proved dozens of times here. Their full cost is tried in tests/records."""
    cheap = functools.partial(argon2.PasswordHasher, time_cost=1, memory_cost=8, parallelism=1)
    monkeypatch.setattr(argon2, "PasswordHasher", cheap)


@pytest.fixture
def house(rig: Rig, tmp_path: Path, cheap_pins: None) -> Callable[[str], House]:
    def make(kind: str) -> House:
        for name, pin in PINS.items():
            (tmp_path / f"{name}.pin").write_text(pin + "\n")
        assert (
            rig("store", "declare", "--kind", kind, "--name", "Low Mill Bench Works", "--address", "invented")[0] == 0
        )
        made = House(rig, tmp_path)
        lead = str(tmp_path / "L. Lead.pin")
        assert rig("people", "add", "L. Lead", "--role", "lead", "--new-pin-file", lead)[0] == 0
        for name, roles in {"A. Bench": ["technician"], "Q. Reviewer": ["QA"], "T. Both": ["technician", "QA"]}.items():
            given = [word for role in roles for word in ("--role", role)]
            made("L. Lead", "people", "add", name, *given, "--new-pin-file", str(tmp_path / f"{name}.pin"))
        for name, text in {"final-inspection.yaml": FINAL, "electrical-safety.yaml": SAFETY}.items():
            made("Q. Reviewer", "store", "approve", made.file(name, text))
        return made

    return make


def received(house: House) -> None:
    house(
        "A. Bench", "receive", "--serial", "LM-0042", "--owner", "Practice Miller", "--complaint", "no-water-level",
        "--words", "gives up while it fills", "--accessory", "two trays", "--data", "none", "--look", "all=ok",
    )  # fmt: skip


def named_and_agreed(house: House) -> None:
    house("A. Bench", "job", "1", "decontaminate", "declaration", "--signed-by", "S. Miller")
    bad = house.file("bad.yaml", "fill-supply-loaded: no\nfill-time: no\n")
    house.run(house.file("fill-again.yaml", AGAIN), "--answers", bad, code=1)
    house("A. Bench", "job", "1", "diagnose", "--cause", "rectifier-open", "--words", "11.9 V under load")
    house("A. Bench", "job", "1", "estimate", "--price", "90", "--words", "rectifier, one hour")
    house("A. Bench", "job", "1", "answer", "approved", "--owner", "S. Miller", "--how", "telephone")


def repaired(house: House) -> str:
    return house("A. Bench", "repair", "1", "--part", "rectifier=L2291", "--minutes", "35", "--cause", "rectifier-open")


def after_the_repair(house: House) -> None:
    assert house.rig("bench", "simulated", "--self-check")[0] == 0
    house.run(house.file("fill-again.yaml", AGAIN))
    house.run(str(house.folder / "final-inspection.yaml"))
    house.run(str(house.folder / "electrical-safety.yaml"))


def told_in_the_readme() -> list[list[str]]:
    """The command lines of the story, as README has them."""
    section = README.read_text(encoding="utf-8").partition("## From receiving to release")[2]
    return [shlex.split(line)[1:] for line in section.split("```")[1].splitlines() if line.strip()]


def test_the_whole_story_as_the_readme_tells_it(
    rig: Rig, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, cheap_pins: None
) -> None:
    """Also with the shop's two procedures in short, where none of these names come with the rig."""
    monkeypatch.chdir(tmp_path)
    short = {name: tmp_path / f"{name}.yaml" for name in ("final-inspection", "electrical-safety")}
    short = {name: path for name, path in short.items() if name not in bundled("procedure")}
    for name, path in short.items():
        path.write_text(FINAL if name == "final-inspection" else SAFETY, encoding="utf-8")
    for words in told_in_the_readme():
        by = words[words.index("--by") + 1] if "--by" in words else ""
        monkeypatch.setenv("RIG_PIN", PINS.get(by, ""))
        if words[:2] == ["people", "add"]:
            monkeypatch.setenv("RIG_NEW_PIN", PINS[words[2]])
        if words[0] == "run" and words[1] in short:
            path = short[words[1]]
            monkeypatch.setenv("RIG_PIN", PINS["Q. Reviewer"])
            assert rig("store", "approve", str(path), "--by", "Q. Reviewer")[0] == 0
            monkeypatch.setenv("RIG_PIN", PINS[by])
            words[1] = str(path)
        # the unit is faulty at first; a practice paper is as it was signed, and never valid for shipping
        expected = 1 if "--fault" in words else 4 if words[0] == "verify" else 0
        code, out, err = rig(*words)
        assert code == expected, f"{words}: exit {code}\n{out}\n{err}"
        if words[0] == "verify":
            assert "CHANGED" not in out
            assert "PRACTICE" in out
    code, out, _ = rig("verify")
    assert code == 0
    assert "every chain holds" in out
    page = json.loads(rig("job", "1", "--json")[1])
    assert page["stage"] == "shipped"
    assert {f["name"] for f in page["findings"]} >= {"fill-supply-loaded", "fill-time"}
    assert all(f["closed"] for f in page["findings"])


def test_a_unit_that_comes_back_is_compared_with_what_left(house: Callable[[str], House]) -> None:
    here = house("practice")
    received(here)
    assert "no decontamination statement" in here.run("incoming-inspection", code=4)
    assert json.loads(here.rig("jobs", "--json")[1])[0]["stage"] == "receive"
    here("A. Bench", "job", "1", "decontaminate", "declaration", "--signed-by", "S. Miller")
    here.run("incoming-inspection", "--seed", "5")
    after_the_repair(here)
    here("Q. Reviewer", "release", "1")
    here("A. Bench", "job", "1", "ship", "--how", "parcel, drained and dried")
    here("A. Bench", "receive", "--serial", "LM-0042", "--owner", "Practice Miller", "--complaint", "no-water-level",
         "--decontaminated", "workshop", "--signed-by", "A. Bench", "--warranty-of", "1")  # fmt: skip
    here("A. Bench", "run", "incoming-inspection", "--job", "2", "--person", "simulated", "--seed", "5", "--fault",
         "filter-choked=0.9", code=1)  # fmt: skip
    pairs = {pair["step"]: pair for pair in json.loads(here.rig("job", "2", "--json")[1])["baseline"]}
    assert pairs["coil-resistance-at-20"]["agrees"] is True
    assert pairs["flow-from-bench"]["agrees"] is False


def test_every_short_cut(house: Callable[[str], House], home: Path, tmp_path: Path) -> None:
    here = house("practice")
    received(here)
    named_and_agreed(here)
    repaired(here)
    after_the_repair(here)

    # the same person, in whatever role
    said = here("A. Bench", "release", "1", code=4)
    assert "A. Bench has tested this unit" in said
    assert "A. Bench has repaired this unit" in said
    # somebody else's name
    code, _, err = here.rig("release", "1", "--by", "Q. Reviewer", "--pin-file", str(tmp_path / "A. Bench.pin"))
    assert code == 4
    assert "not the PIN of Q. Reviewer" in err
    code, _, err = here.rig("release", "1", "--by", "Q. Reviewer")
    assert code == 4
    assert "has given no PIN" in err
    # a test without a PIN
    final = str(tmp_path / "final-inspection.yaml")
    assert here.rig("run", final, "--job", "1", "--person", "simulated", "--by", "A. Bench")[0] == 0
    assert "without a PIN" in here("Q. Reviewer", "release", "1", code=4)
    here.run(final)
    # a procedure that nobody has put in force
    easy = here.file("easy.yaml", FINAL.replace("at-most: 35 Cel", "at-most: 90 Cel"))
    here.run(easy)
    assert "procedure final-inspection was not the one in force" in here("Q. Reviewer", "release", "1", code=4)
    here.run(final)
    # another unit, another profile
    assert "its serial number is LM-0042" in here.run(final, "--serial", "LM-7", code=4)
    # a meter out of calibration, in a bench file that QA has put in force
    bench = bundled("bench")["simulated"].read_text(encoding="utf-8")
    expired = bench.replace('calibrated-until: "2027-06-30"', 'calibrated-until: "2020-01-01"', 1)
    assert expired != bench
    old = here.file("old-bench.yaml", expired)
    here("Q. Reviewer", "store", "approve", old)
    here.rig("bench", old, "--self-check")
    here.run(final, "--bench", old)
    assert "meter-1 (SIM-M1) was calibrated until 2020-01-01" in here("Q. Reviewer", "release", "1", code=4)
    here("Q. Reviewer", "store", "approve", str(bundled("bench")["simulated"]))
    assert here.rig("bench", "simulated", "--self-check")[0] == 0
    here.run(final)
    said = here("Q. Reviewer", "release", "1", code=4)
    assert "a later self-check of bench simulated did not pass" in said
    here.run(str(tmp_path / "electrical-safety.yaml"))
    here("Q. Reviewer", "release", "1")
    # the same once more, until QA has withdrawn it
    assert "it is released already: as 1-" in here("Q. Reviewer", "release", "1", code=4)
    here("Q. Reviewer", "job", "1", "withdraw", "--reason", "the wrong bottle was packed")
    assert "was withdrawn by Q. Reviewer: the wrong bottle" in here("A. Bench", "job", "1", "ship", code=4)
    here("Q. Reviewer", "release", "1")
    # a stale test: one more repair after the release
    repaired(here)
    said = here("A. Bench", "job", "1", "ship", code=4)
    assert "release it anew" in said
    said = here("Q. Reviewer", "release", "1", code=4)
    assert "electrical-safety: no run after the last repair" in said
    after_the_repair(here)
    here("Q. Reviewer", "release", "1")

    certificate, record = tmp_path / "certificate.pdf", tmp_path / "record.json"
    assert here.rig("report", "--job", "1", "--certificate", str(certificate), "--record", str(record))[0] == 0
    # an edited paper
    data = certificate.read_bytes()
    place = data.index(b"/Title")
    certificate.write_bytes(data[:place] + data[place:].replace(b"Certificate", b"Certificite", 1))
    code, out, _ = here.rig("verify", str(certificate))
    assert code == 4
    assert "CHANGED: the file is not as it was sealed" in out
    # an edited record, and a signature that was given for something else
    record.write_text(record.read_text(encoding="utf-8").replace("LM-0042", "LM-0099"), encoding="utf-8")
    code, out, _ = here.rig("verify", str(record))
    assert code == 4
    assert "CHANGED" in out
    # an edited row, then a chain that was cut: in a copy each, as somebody with the file would
    for n, statement in enumerate(
        (
            "UPDATE readings SET verdict = 'pass' WHERE verdict = 'fail'",
            "DELETE FROM entries WHERE kind = 'Repaired'",
            "DELETE FROM events WHERE kind = 'RunEnded'",
        )
    ):
        copy = tmp_path / f"copy-{n}.sqlite"
        assert here.rig("backup", str(copy))[0] == 0
        with sqlite3.connect(copy) as other:
            for (name,) in other.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
                other.execute(f"DROP TRIGGER {name}")
            other.execute(statement)
        code, out, _ = here.rig("verify", "--store", f"sqlite:///{copy}")
        assert code == 4, statement
        assert "CHANGED" in out
        shutil.copytree(home / "keys", tmp_path / "keys", dirs_exist_ok=True)
        said = here("Q. Reviewer", "release", "1", "--store", f"sqlite:///{copy}", code=4)
        assert "the records do not hold" in said


def test_in_a_workshop_a_simulated_run_is_a_ground_for_nothing(house: Callable[[str], House]) -> None:
    here = house("workshop")
    received(here)
    named_and_agreed(here)
    repaired(here)
    after_the_repair(here)
    said = here("Q. Reviewer", "release", "1", code=4)
    for procedure in ("final-inspection", "electrical-safety"):
        assert f"{procedure}, run " in said
    assert said.count("is simulated, and this is a workshop's store") >= 2
    assert "fill-supply-loaded: measured again after rectifier was worked on, but in a run that does not count" in said
    assert here.rig("report", "--job", "1", "--certificate", str(here.folder / "c.pdf"))[0] == 4
    assert not (here.folder / "c.pdf").exists()


def test_wrong_words_are_told_with_the_nearest(house: Callable[[str], House]) -> None:
    here = house("practice")
    said = here("A. Bench", "receive", "--serial", "S", "--owner", "O", "--complaint", "slow-heet", code=2)
    assert "nearest is 'slow-heat'" in said
    received(here)
    said = here("A. Bench", "job", "1", "look", "cords=ok", code=2)
    assert "nearest is 'cord'" in said
    repair = ("--part", "board=1", "--minutes", "1", "--cause")
    assert "no unit was received as job '9'" in here("A. Bench", "repair", "9", *repair, "rectifier-open", code=2)
    assert "nearest is 'rectifier-open'" in here("A. Bench", "repair", "1", *repair, "rectifyer-open", code=2)
    to = ("--field", "cause", "--value", "rectifyer-open", "--reason", "misread")
    assert "nearest is 'rectifier-open'" in here("A. Bench", "job", "1", "correct", "5", *to, code=2)
    code, out, _ = here.rig("release", "1", "--by", "Q. Reviewer", "--pin-file", str(here.folder / "Q. Reviewer.pin"),
                            "--json")  # fmt: skip
    assert code == 4
    assert "final-inspection: no run in this job" in json.loads(out)["error"]["missing"]
    assert json.loads(here("A. Bench", "job", "1", "look", "cord=ok", "--json"))["stage"] == "receive"
    assert json.loads(here("A. Bench", "job", "1", "--json", "look", "cord=ok"))["by"] == "A. Bench"
    said = here("A. Bench", "job", "1", "data", "erased", code=4)
    assert "only with consent" in said


def test_a_job_number_that_nobody_received_is_a_word_as_before(rig: Rig, two_looks: str) -> None:
    code, out, err = rig("run", two_looks, "--job", "J-7", "--person", "simulated", "--json")
    assert code == 0
    assert json.loads(out)["job"] == "J-7"
    # but it is said, when it begins and in the record
    note = "note: no unit was received here as job J-7, so neither"
    assert err.index(note) < err.index("pass")
    assert note in rig("runs", json.loads(out)["run"])[1]
    assert rig("job", "J-7")[0] == 2
    assert "was received here" not in rig("run", two_looks, "--person", "simulated")[1]


def test_a_profile_is_approved_in_itself_before_it_is_put_in_force(house: Callable[[str], House]) -> None:
    """Two gates: the file's own approval lets its limits judge, QA's lets runs on it count for a release."""
    here = house("workshop")
    profile = bundled("unit-profile")["demo-18-dc"].read_text(encoding="utf-8")
    (revision,) = re.findall(r'(?m)^revision: "(.*)"$', profile)
    bare = here.file("bare.yaml", re.sub(r"(?m)^approved: .*\n", "", profile))
    assert "demo-18-dc is not approved" in here("Q. Reviewer", "store", "approve", bare, code=4)
    later = here.file("later.yaml", profile.replace(f'revision: "{revision}"', 'revision: "99"', 1))
    said = here("Q. Reviewer", "store", "approve", later, code=4)
    assert f"approved in revision {revision}, not 99" in said
    good = here.file("good.yaml", profile)
    assert f"in force: unit-profile demo-18-dc revision {revision}" in here("Q. Reviewer", "store", "approve", good)
