"""One seed gives one record, however busy the machine is."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

BUSY = 4


@pytest.fixture
def busy() -> Iterator[None]:
    """Four processes that do nothing but keep the processors busy."""
    workers = [subprocess.Popen([sys.executable, "-c", "while True: pass"]) for _ in range(BUSY)]
    try:
        yield
    finally:
        for worker in workers:
            worker.kill()
            worker.wait()


def run_json(home: Path, *arguments: str) -> dict[str, Any]:
    """``rig run … --json`` as a script outside would call it."""
    rig = [sys.executable, "-c", "from rig.cli.main import main; main()"]
    done = subprocess.run(
        [*rig, "run", "incoming-inspection", "--json", *arguments],
        env={**os.environ, "RIG_HOME": str(home)},
        capture_output=True,
        text=True,
        check=False,
        stdin=subprocess.DEVNULL,
    )
    assert done.returncode in (0, 1), done.stderr
    value: dict[str, Any] = json.loads(done.stdout)
    for name in ("run", "wall_seconds"):
        del value[name]
    return value


@pytest.mark.parametrize("arguments", [("--seed", "12"), ("--seed", "12", "--fault", "filter-choked=0.6")])
def test_three_runs_beside_four_busy_processes(arguments: tuple[str, ...], busy: None, tmp_path: Path) -> None:
    first = run_json(tmp_path, *arguments)
    assert len(first["steps"]) > 25
    for _ in range(2):
        assert run_json(tmp_path, *arguments) == first
