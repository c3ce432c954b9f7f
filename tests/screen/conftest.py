"""What the tests of the screen share: an app without a terminal, on records of its own."""

from __future__ import annotations

import asyncio
import time
from collections.abc import AsyncIterator, Awaitable, Callable
from contextlib import asynccontextmanager
from pathlib import Path
from typing import Any

import pytest
from textual.pilot import Pilot

from rig.screen.actions import act
from rig.screen.app import BenchApp
from rig.screen.preset import Preset, side_by_side
from rig.screen.words import read_words

PATIENCE = 90.0  # s of wall time for what takes one: the machine may be busy

PIN = "471147"


@asynccontextmanager
async def shown(
    store: Path, size: tuple[int, int] = (80, 24), fancy: bool = True, slots: int = 1, **preset: Any
) -> AsyncIterator[tuple[BenchApp, Pilot[int]]]:
    """A screen, as fast as it goes; at its end the runs are ended, too."""
    presets = side_by_side(Preset(**({"speed": "0"} | preset)), ["simulated"] * slots)
    app = BenchApp(read_words(), fancy, presets, f"sqlite:///{store}")
    async with app.run_test(size=size) as pilot:
        try:
            yield app, pilot
        finally:
            app.slots.end("the test is over")
            for running in [slot.running for slot in app.slots if slot.running is not None]:
                await asyncio.to_thread(running.join, PATIENCE)


async def until(pilot: Pilot[int], what: Callable[[], object]) -> None:
    """Wait for something to become true."""
    end = time.monotonic() + PATIENCE
    while not what():
        assert time.monotonic() < end, f"it never came:\n{text_of(pilot.app)}"
        await pilot.pause(0.02)


def text_of(app: Any) -> str:
    """Everything that is on the screen, as lines."""
    lines = app.screen._compositor.render_strips(app.size)
    return "\n".join("".join(segment.text for segment in line).rstrip() for line in lines)


@pytest.fixture
def store(tmp_path: Path) -> Path:
    return tmp_path / "records.sqlite"


@pytest.fixture
def staffed(store: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Records with a lead, a technician and somebody of QA, everybody with the same PIN."""
    monkeypatch.setenv("RIG_NEW_PIN", PIN)
    at = f"--store=sqlite:///{store}"
    assert act(["people", "add", "L. Lead", "--role", "lead", at]).code == 0
    for name, role in (("A. Bench", "technician"), ("Q. Reviewer", "QA")):
        assert act(["people", "add", name, "--role", role, "--by", "L. Lead", at], PIN).code == 0
    return store


def sync(test: Callable[..., Awaitable[None]]) -> Callable[..., None]:
    """A test that is a coroutine, as a function."""
    import functools

    @functools.wraps(test)
    def run(*args: Any, **kwargs: Any) -> None:
        asyncio.run(test(*args, **kwargs))

    return run
