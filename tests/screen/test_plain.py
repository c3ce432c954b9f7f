"""Lines alone: a unit is scanned, a procedure run, another unit scanned; nothing is drawn over."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from rig.screen.plain import Plain
from rig.screen.preset import Preset
from rig.screen.words import read_words
from tests.screen.conftest import PIN

COMMAND_LINE = re.compile(r"--[a-z]|\bUsage\b|exit code|'rig [a-z]+ |\brig: ")


def test_a_conversation(tmp_path: Path, two_looks: str, capsys: pytest.CaptureFixture[str]) -> None:
    said: list[str] = []
    answers: Iterator[str] = iter(["LM-1\n", f"{two_looks}\n", "jobs\n", "LM-2\n", "help\n", "leave\n"])
    preset = Preset(procedure=two_looks, person="simulated")
    store = f"sqlite:///{tmp_path / 'records.sqlite'}"
    code = Plain(read_words(), preset, store, lambda: next(answers, None), said.append).talk()
    assert code == 0
    out = capsys.readouterr().out
    assert "Everything is off, and confirmed." in out
    assert "\x1b" not in out
    assert "\r" not in out
    assert said.count("Done.") == 2
    assert sum("incoming-inspection" in line for line in said) == 3  # for each unit once, and when help was asked for


def talk(store: Path, lines: str, **preset: Any) -> tuple[int, str]:
    """A conversation whose input is written down; its exit code, and what was said."""
    said: list[str] = []
    told = iter(lines.splitlines(keepends=True))
    plain = Plain(read_words(), Preset(**preset), f"sqlite:///{store}", lambda: next(told, None), said.append)
    return plain.talk(), "\n".join(said)


RECEIVED = """\
LM-0042
receive
Practice Miller
no-water-levle
no-water-level




none

all=ok


decontaminate
declaration

S. Miller


"""
FOUND = """\
certificate
incoming-inspection
release
Q. Reviewer
diagnose
rectifier-open


estimate
ninety




estimate
90




answer
approved
S. Miller
telephone

repair --words "unclosed
repair
leave
repair
rectifier=L2291

35
rectifier-open


"""
TESTED = """\
LM-0042
incoming-inspection
bench-self-check
final-inspection
electrical-safety
release
Q. Reviewer
certificate
release

job
"""


def test_the_whole_story_in_lines(
    staffed: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("RIG_PIN", PIN)
    capsys.readouterr()
    some: dict[str, Any] = {"by": "A. Bench", "person": "simulated", "seed": 5}
    code, said = talk(staffed, RECEIVED + FOUND, faults=(("rectifier-open", 1.0),), **some)
    printed = capsys.readouterr()
    assert code == 1
    assert "'no-water-levle' is none of them." in said
    assert "This is needed, and empty: signed by." in said
    assert "there is no release that holds: it is not released" in said
    assert "Done; the unit did not pass." in said
    assert "final-inspection: no run in this job" in said
    assert "'price': 'ninety' is not a valid float" in said
    assert "A quotation mark has no other one." in said
    assert "Plug out and locked away" in said
    assert "job 1: repair kept, by A. Bench" in printed.out
    assert "job 1: demo-18-dc, next: verify" in said
    for text in (said, *printed):
        assert not COMMAND_LINE.search(text), COMMAND_LINE.search(text)
    code, said = talk(staffed, TESTED, **some)
    printed = capsys.readouterr()
    assert code == 0, printed.out + said
    assert "job 1 is released as 1-" in printed.out
    assert "Decontamination declaration signed by" in said
    assert "it is released already: as 1-" in said
    assert "run by Q. Reviewer" not in printed.out
    assert re.search(r"A\. Bench run [0-9a-f-]+ of electrical-safety began", " ".join(printed.out.split()))
    assert (staffed.parent / "papers" / "certificate-1.pdf").exists()
    for text in (said.partition("How to check")[0], *printed):  # the paper says by what command it is checked
        assert not COMMAND_LINE.search(text), COMMAND_LINE.search(text)


def test_words_behind_a_word_are_taken_as_they_stand(staffed: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch,
                                                     capsys: pytest.CaptureFixture[str]) -> None:  # fmt: skip
    monkeypatch.setenv("RIG_PIN", PIN)
    _, said = talk(staffed, """\
LM-0042
receive --owner "Practice Miller" --complaint other
job decontaminate workshop --signed-by "A. Bench"
job look
vessel=ok; cord=-cut

jobs
""", by="A. Bench")  # fmt: skip
    printed = capsys.readouterr().out
    assert "job 1: demo-18-dc, next: inspect" in said
    assert printed.count("job 1: kept, by A. Bench") == 2
