"""What goes wrong while one looks: an interlock, a lost instrument, a full disk. The screen says it, and stays."""

from __future__ import annotations

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from textual.pilot import Pilot

from rig.errors import RecordError
from rig.limits import Verdict
from rig.records.journal import StoreJournal
from rig.screen.app import BenchApp
from tests.cli.small_procedures import LONG_WAIT
from tests.screen.conftest import shown, sync, text_of, until


@asynccontextmanager
async def fed(store: Path, folder: Path) -> AsyncIterator[tuple[BenchApp, Pilot[int], Any]]:
    """A screen, its pilot and its station, with something on."""
    path = folder / "long-wait.yaml"
    path.write_text(LONG_WAIT, encoding="utf-8")
    async with shown(store, procedure=str(path), person="simulated", speed="1") as (app, pilot):
        await pilot.press("f8")
        await until(pilot, lambda: "ON: bus-dc24" in text_of(app))
        running = app.running
        assert running is not None
        yield app, pilot, running.station


async def ended(app: BenchApp, pilot: Pilot[int]) -> None:
    await until(pilot, lambda: app.scene is not None and app.scene.over is not None)


@sync
async def test_a_breach_is_named(store: Path, tmp_path: Path) -> None:
    async with fed(store, tmp_path) as (app, pilot, station):
        assert app.running is not None
        app.running.control.call(lambda: station.misbehave("silence", "inputs-1"))
        await ended(app, pilot)
        await until(pilot, lambda: "EVERYTHING IS OFF" in text_of(app) or "NOT CONFIRMED OFF" in text_of(app))
        assert app.scene is not None
        assert app.scene.ended is not None
        assert app.scene.ended.verdict in (Verdict.STOPPED, Verdict.NO_READING)
        assert "inputs-1" in text_of(app)


@sync
async def test_a_bus_that_goes_away_is_not_told_as_off(store: Path, tmp_path: Path) -> None:
    async with fed(store, tmp_path) as (app, pilot, station):
        assert app.running is not None
        app.running.control.call(lambda: station.shut_listener("modbus"))
        await ended(app, pilot)
        await until(pilot, lambda: "NOT CONFIRMED OFF" in text_of(app))
        seen = text_of(app)
        assert "emergency stop" in seen
        assert "EVERYTHING IS OFF" not in seen
        await pilot.press("f9")
        await until(pilot, lambda: app.page is app.begin_page)
        assert "NOT CONFIRMED OFF" in text_of(app)  # the next unit makes it no better
        app.slot.ready(replace(app.begin_page.wanted(), procedure="no-such"), "", 0.0).start()
        await until(pilot, lambda: app.scene is not None and app.scene.over is not None)
        assert "NOT CONFIRMED OFF" in text_of(app)
        await pilot.press("f2", "f8", "f8")
        await until(pilot, lambda: "ON: bus-dc24" in text_of(app))
        await pilot.press("escape")
        await until(pilot, lambda: "EVERYTHING IS OFF, confirmed" in text_of(app))


@sync
async def test_a_full_disk_ends_the_run_with_everything_off(
    store: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    whole = StoreJournal.record
    full: list[bool] = []

    def record(self: StoreJournal, event: Any) -> None:
        if full:
            raise RecordError("the disk is full", "Make room.", "records.sqlite")
        whole(self, event)

    monkeypatch.setattr(StoreJournal, "record", record)
    async with fed(store, tmp_path) as (app, pilot, _):
        full.append(True)
        await pilot.press("escape")
        await ended(app, pilot)
        await until(pilot, lambda: "the disk is full" in text_of(app))
        assert "EVERYTHING IS OFF, confirmed" in text_of(app)
