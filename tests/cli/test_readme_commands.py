"""The README says what the commands do: its sample is what its command prints, its command lines are ours."""

from __future__ import annotations

import re
import shlex
from collections.abc import Callable
from pathlib import Path

import click
import pytest

from rig.cli.main import COMMANDS, cli

ROOT = Path(__file__).parents[2]
TEXT = (ROOT / "README.md").read_text(encoding="utf-8")
SPANS = [" ".join(span.split()) for span in re.findall(r"`(rig [^`]+)`", TEXT)]


def sample() -> tuple[str, list[str]]:
    """The command that the README's sample comes from, and the sample's lines."""
    found = re.search(r"\(`rig (run [^`]+)`\):\n\n```\n(.*?)```", TEXT, re.DOTALL)
    assert found is not None
    return found[1], found[2].splitlines()


def test_the_sample_is_what_its_command_prints(rig: Callable[..., tuple[int, str, str]]) -> None:
    """Line by line and in order; where this fails after a change, the command's own output belongs there."""
    command, lines = sample()
    code, out, _ = rig(*shlex.split(command))
    assert code == 1
    printed = out.splitlines()
    assert [line for line in lines if line not in printed] == []
    at = 0
    for line in lines:
        at = printed.index(line, at) + 1 if line else at  # what lies between is left out in the README


@pytest.mark.parametrize("span", SPANS)
def test_its_command_lines_are_ours(span: str) -> None:
    words = shlex.split(span)
    assert words[1] in COMMANDS
    command = cli.get_command(click.Context(cli), words[1])
    assert command is not None
    known = {option for parameter in command.params for option in parameter.opts}
    assert {word.partition("=")[0] for word in words if word.startswith("--")} <= known | {"--help"}


def test_its_two_command_lines_are_whole_and_the_second_is_what_ci_runs() -> None:
    lines = re.findall(r"^python3 -m venv .*$", TEXT, re.MULTILINE)
    assert len(lines) == 2
    assert lines[0].endswith(".venv/bin/rig run incoming-inspection --person simulated")
    ci = (ROOT / ".ci" / "run").read_text(encoding="utf-8")
    assert lines[1] in ci.replace(".venv-ci", ".venv").replace(" --quiet", "")
