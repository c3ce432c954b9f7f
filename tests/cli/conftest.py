from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from rig.cli.main import run

Rig = Callable[..., tuple[int, str, str]]


@pytest.fixture
def home(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Path:
    """An empty RIG_HOME, and a plain environment."""
    for name in ("NO_COLOR", "FORCE_COLOR", "COLUMNS", "TTY_COMPATIBLE"):
        monkeypatch.delenv(name, raising=False)
    folder = tmp_path / "home"
    monkeypatch.setenv("RIG_HOME", str(folder))
    return folder


@pytest.fixture
def rig(home: Path, capsys: pytest.CaptureFixture[str]) -> Rig:
    """Runs one command line; its exit code, stdout and stderr."""

    def call(*arguments: str) -> tuple[int, str, str]:
        capsys.readouterr()
        code = run(arguments)
        return code, *capsys.readouterr()

    return call
