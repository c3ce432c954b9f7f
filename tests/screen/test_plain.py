"""Lines alone: a unit is scanned, a procedure run, another unit scanned; nothing is drawn over."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from rig.screen.begin_page import Preset
from rig.screen.plain import Plain
from rig.screen.words import read_words
from tests.cli.small_procedures import TWO_LOOKS


def test_a_conversation(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    procedure = tmp_path / "two-looks.yaml"
    procedure.write_text(TWO_LOOKS, encoding="utf-8")
    said: list[str] = []
    answers: Iterator[str] = iter(["LM-1\n", f"{procedure}\n", "jobs\n", "LM-2\n", "help\n", "leave\n"])
    preset = Preset(procedure=str(procedure), person="simulated")
    store = f"sqlite:///{tmp_path / 'records.sqlite'}"
    code = Plain(read_words(), preset, store, lambda: next(answers, None), said.append).talk()
    assert code == 0
    out = capsys.readouterr().out
    assert "Everything is off, and confirmed." in out
    assert "\x1b" not in out
    assert "\r" not in out
    assert said.count("Done, exit code 0.") == 2
    assert sum("incoming-inspection" in line for line in said) == 3  # for each unit once, and when help was asked for
