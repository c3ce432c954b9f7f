"""The developer's story by keys: the plan with its proof, a fault in and out during a run, the wire, the pace."""

from __future__ import annotations

from pathlib import Path

from rig.screen.app import BenchApp
from tests.screen.conftest import shown, sync, text_of, until


def notes(app: BenchApp) -> str:
    """What the run has told beside its steps."""
    return "" if app.scene is None else " ".join(note.text for note in app.scene.notes)


@sync
async def test_faults_wire_plan_and_pace(store: Path, long_wait: str) -> None:
    async with shown(store, (120, 30), procedure=long_wait, person="simulated", speed="1") as (app, pilot):
        await pilot.press("f6")
        await until(pilot, lambda: "> ···· 0.00  filter-choked" in text_of(app))
        await pilot.press("right", "right")
        await until(pilot, lambda: "██·· 0.50  filter-choked" in text_of(app))
        assert "the next unit begins with 0.5" in text_of(app)
        await pilot.press("f7")  # the wire is kept from now on
        await until(pilot, lambda: "relays-1  silence" in text_of(app))
        await pilot.press("right")
        await until(pilot, lambda: "silence on relays-1: in when the next run begins" in text_of(app))
        await pilot.press("left", "f7")
        await pilot.press("f2", "f8")
        await until(pilot, lambda: "ON: bus-dc24" in text_of(app))
        assert app.scene is not None
        assert app.scene.started is not None
        assert app.scene.started.faults == (("filter-choked", 0.5),)
        await pilot.press("f6")
        await until(pilot, lambda: "inputs-1" in text_of(app) and "→" in text_of(app))
        await pilot.press("f7")
        await until(pilot, lambda: "1 file in order" in text_of(app))
        assert "bus-on" in text_of(app)
        await pilot.press("f7", "left", "left")
        await until(pilot, lambda: "filter-choked is now at 0 in" in text_of(app))
        await pilot.press("f7", "end", "right")  # an instrument that is not asked in this run
        await until(pilot, lambda: "on scale-1 is now in." in text_of(app))
        await pilot.press("f9")
        await until(pilot, lambda: "█ in" not in text_of(app))
        assert app.running is not None
        assert app.running.pace.speed == 1
        await pilot.press("f8")
        await until(pilot, lambda: "pace: 10 x real time" in text_of(app))
        assert app.running.pace.speed == 10
        await pilot.press("escape")
        await until(pilot, lambda: app.scene is not None and app.scene.ended is not None)
        assert "fault filter-choked of the simulated unit was set to 0" in notes(app)
        assert "wire of simulated scale-1 was put in" in notes(app)
        assert "wire of simulated scale-1 was taken out" in notes(app)
