"""One action of the records: a command of the rig, with the PIN that was typed unseen. What it says comes back."""

from __future__ import annotations

import io
import threading
from collections.abc import Sequence
from contextlib import redirect_stderr, redirect_stdout
from dataclasses import dataclass

from rig.cli.main import run
from rig.cli.who import TYPED

_ONE = threading.Lock()  # what is printed is caught for the whole process: one command after the other


@dataclass(frozen=True)
class Done:
    """What a command said, and its exit code: 0 where it did what it was asked."""

    code: int
    lines: tuple[str, ...]


def act(arguments: Sequence[str], pin: str = "") -> Done:
    """Carry a command out. Nothing is raised: a refusal is told in its lines, as on the command line."""
    said = io.StringIO()
    with _ONE:
        before = TYPED.set(pin)
        try:
            with redirect_stdout(said), redirect_stderr(said):
                code = run(list(arguments))
        finally:
            TYPED.reset(before)
    return Done(code, tuple(said.getvalue().splitlines()))
