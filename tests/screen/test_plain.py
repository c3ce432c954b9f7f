"""Lines alone: a unit is scanned, a procedure run, another unit scanned; nothing is drawn over."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from rig.screen.begin_page import Preset
from rig.screen.plain import Plain
from rig.screen.words import read_words


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
    assert said.count("Done, exit code 0.") == 2
    assert sum("incoming-inspection" in line for line in said) == 3  # for each unit once, and when help was asked for
