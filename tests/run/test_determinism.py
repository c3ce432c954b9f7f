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

BUSY = 2  # beside the runs themselves: more of them than processors


@pytest.fixture
def busy() -> Iterator[None]:
    """Processes that do nothing but keep the processors busy."""
    workers = [subprocess.Popen([sys.executable, "-c", "while True: pass"]) for _ in range(BUSY)]
    try:
        yield
    finally:
        for worker in workers:
            worker.kill()
            worker.wait()


def begin(home: Path, *arguments: str) -> subprocess.Popen[str]:
    """``rig run … --json`` as a script outside would call it."""
    rig = [sys.executable, "-c", "from rig.cli.main import main; main()"]
    return subprocess.Popen(
        [*rig, "run", "incoming-inspection", "--json", *arguments],
        env={**os.environ, "RIG_HOME": str(home)},
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        stdin=subprocess.DEVNULL,
    )


def ended(running: subprocess.Popen[str], printed: str, said: str) -> dict[str, Any]:
    """What it printed, without what is its own: the name of the run and the wall's seconds."""
    assert running.returncode in (0, 1), said
    value: dict[str, Any] = json.loads(printed)
    for name in ("run", "wall_seconds"):
        del value[name]
    return value


@pytest.mark.timeout(1200)  # the processors are kept from it on purpose: only a run that hangs takes so long
@pytest.mark.parametrize("arguments", [("--seed", "12"), ("--seed", "12", "--fault", "filter-choked=0.9")])
def test_three_runs_that_take_each_other_the_processors(arguments: tuple[str, ...], busy: None, tmp_path: Path) -> None:
    """All at once, each pushed about by the others: none gets the processor in the same slices."""
    running = [begin(tmp_path / name, *arguments) for name in ("a", "b", "c")]
    printed = [one.communicate() for one in running]
    first, *others = [ended(one, *said) for one, said in zip(running, printed, strict=True)]
    assert len(first["steps"]) > 25
    assert others == [first, first]
