"""One action of the records: a command of the rig, with the PIN that was typed unseen. What it says comes back."""

from __future__ import annotations

import io
import threading
from collections.abc import Sequence
from contextlib import redirect_stderr, redirect_stdout
from dataclasses import dataclass

import click

from rig.cli.failing import LONGEST, failure_of
from rig.cli.main import carry_out
from rig.cli.options import AT_SCREEN
from rig.cli.who import TYPED
from rig.plan.visible import visible

_ONE = threading.Lock()  # what is printed is caught for the whole process: one command after the other


@dataclass(frozen=True)
class Done:
    """What a command said, and its exit code: 0 where it did what it was asked."""

    code: int
    lines: tuple[str, ...]


def act(arguments: Sequence[str], pin: str = "") -> Done:
    """Carry a command out. Nothing is raised: a refusal is told in its lines."""
    said = io.StringIO()
    with _ONE:
        before, there = TYPED.set(pin), AT_SCREEN.set(True)
        try:
            with redirect_stdout(said), redirect_stderr(said):
                code, refusal = tried(arguments)
        finally:
            TYPED.reset(before)
            AT_SCREEN.reset(there)
    return Done(code, (*said.getvalue().splitlines(), *refusal))


def tried(arguments: Sequence[str]) -> tuple[int, tuple[str, ...]]:
    """Carry a command out: its exit code, and why it was not done, without what only helps at a command line."""
    try:
        return carry_out(arguments), ()
    except (Exception, KeyboardInterrupt) as fault:
        failure = failure_of(fault)
        lines = (failure.message,) if isinstance(fault, click.ClickException) else failure.lines
        return failure.exit_code, tuple(visible(line, LONGEST) for line in lines)
