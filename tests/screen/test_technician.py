"""The technician's story by keys alone: scan, begin, answer, everything off, leave."""

from __future__ import annotations

from pathlib import Path

import pytest

from rig.limits import Verdict
from rig.screen import running
from tests.cli.small_procedures import LONG_WAIT, TWO_LOOKS
from tests.screen.conftest import shown, sync, text_of, until

FED = "bus-dc24"


@sync
async def test_scan_begin_answer_and_see_the_reading(store: Path, two_looks: str) -> None:
    async with shown(store, procedure=two_looks) as (app, pilot):
        assert "NOTHING IS ON" in text_of(app)
        await pilot.press(*"LM-0042", "enter")
        await until(pilot, lambda: "LM-0042 has no open job: take it in here." in text_of(app))
        assert "serial            LM-0042" in text_of(app)
        await pilot.press("f3", "f8")  # back, and without a job
        await until(pilot, lambda: "CAUTION Gloves." in text_of(app))  # the stage's, before its first question
        assert "[Y] yes" not in text_of(app)
        await pilot.press("c")
        await until(pilot, lambda: "[Y] yes" in text_of(app))
        app.set_focus(app.begin_page.serial.input)  # hidden: what has the focus there must not take the key
        await pilot.press("y")
        await until(pilot, lambda: app.scene is not None and app.scene.ended is not None and app.scene.over is not None)
        assert app.scene is not None
        assert [str(r.verdict) for r in app.scene.results] == ["pass", "pass"]
        await until(pilot, lambda: "EVERYTHING IS OFF, confirmed" in text_of(app))
        seen = text_of(app)
        assert "LM-0042" in seen
        assert "allowed 10–35 °C" in seen
        assert "┃" in seen
        assert "◆" in seen


@sync
async def test_a_scanner_answers_nothing(store: Path, two_looks: str) -> None:
    async with shown(store, procedure=two_looks, serial="LM-0042") as (app, pilot):
        await pilot.press("f8")
        await until(pilot, lambda: app.ask_box.by_key)
        app.keystrokes.take("y")
        app.keystrokes.take("n")
        app.keystrokes.take("\r")
        await until(pilot, lambda: "NOT the unit on the bench" in text_of(app))
        await pilot.press("enter")
        await pilot.pause(0.3)
        assert app.scene is not None
        assert app.scene.results == []
        assert app.ask_box.prompt is not None


@sync
async def test_the_caution_comes_before_the_question(store: Path, tmp_path: Path) -> None:
    path = tmp_path / "hot.yaml"
    path.write_text(TWO_LOOKS.replace("verb: look", "caution: Steam scalds.\n        verb: look"), encoding="utf-8")
    async with shown(store, procedure=str(path)) as (app, pilot):
        await pilot.press("f8")
        await until(pilot, lambda: "Steam scalds." in text_of(app))
        assert "Is the lid shut?" not in text_of(app)
        await pilot.press("y")  # no answer yet: the question was not seen
        await pilot.pause(0.3)
        assert app.scene is not None
        assert app.scene.results == []
        await pilot.press("c")
        await until(pilot, lambda: "Is the lid shut?" in text_of(app))
        await pilot.press("n")
        await until(pilot, lambda: app.scene is not None and app.scene.ended is not None)
        assert app.scene.results[0].verdict is Verdict.FAIL


@sync
async def test_one_key_turns_everything_off_from_any_page(store: Path, long_wait: str) -> None:
    async with shown(store, procedure=long_wait, person="simulated", speed="1") as (app, pilot):
        await pilot.press("f8")
        await until(pilot, lambda: f"ON: {FED}" in text_of(app))
        assert "read back" in text_of(app)
        await pilot.press("f1")
        await until(pilot, lambda: "What can be done now" in text_of(app))
        await pilot.press("escape")
        await until(pilot, lambda: app.scene is not None and app.scene.ended is not None)
        assert app.scene is not None
        assert app.scene.ended is not None
        assert app.scene.ended.all_off
        assert app.scene.ended.verdict is Verdict.STOPPED
        assert "by a key" in (app.scene.ended.reason or "")
        assert app.scene.ended.signal is None


@sync
async def test_after_the_end_every_output_is_shown_as_it_was_read_back_last(
    store: Path, long_wait: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(running, "LOOK_EVERY", 3600.0)  # no look between the opening of the bench and the end
    async with shown(store, (160, 50), procedure=long_wait, person="simulated") as (app, pilot):
        await pilot.press("f8")
        await until(pilot, lambda: "EVERYTHING IS OFF, confirmed" in text_of(app))
        assert app.scene is not None
        assert app.scene.seen is not None
        assert {output.word for output in app.scene.seen.outputs} == {"off"}
        assert "○ off     bus-dc24" in text_of(app)


@sync
async def test_leaving_turns_everything_off_first(store: Path, long_wait: str) -> None:
    async with shown(store, procedure=long_wait, person="simulated", speed="1") as (app, pilot):
        await pilot.press("f8")
        await until(pilot, lambda: f"ON: {FED}" in text_of(app))
        running = app.running
        assert running is not None
        await pilot.press("f10")
        await until(pilot, lambda: app.left)
        assert app.scene is not None
        assert app.scene.ended is not None
        assert app.scene.ended.all_off
        running.join(5)
        assert not running.alive
        assert app.return_code == 0


@sync
async def test_pause_and_go_on(store: Path, long_wait: str) -> None:
    async with shown(store, procedure=long_wait, speed="1") as (app, pilot):
        await pilot.press("f8")
        await until(pilot, lambda: f"ON: {FED}" in text_of(app))
        await pilot.press("f5")
        await until(pilot, lambda: "CAUTION Outputs will be switched again." in text_of(app))
        assert "NOTHING IS ON" in text_of(app)
        await pilot.press("c")
        await until(pilot, lambda: "[D] done" in text_of(app))
        await pilot.press("d")
        await until(pilot, lambda: f"ON: {FED}" in text_of(app))
        await pilot.press("escape")
        await until(pilot, lambda: app.scene is not None and app.scene.ended is not None)


@sync
async def test_what_is_wrong_before_power_is_said_and_nothing_is_on(store: Path, tmp_path: Path) -> None:
    path = tmp_path / "wrong.yaml"
    path.write_text(LONG_WAIT.replace("bus-dc24", "bus-dc42"), encoding="utf-8")
    async with shown(store, procedure=str(path)) as (app, pilot):
        await pilot.press("f8")
        await until(pilot, lambda: app.scene is not None and app.scene.over is not None)
        await until(pilot, lambda: "bus-dc42" in text_of(app))
        assert "NOTHING WAS ON" in text_of(app)
    assert not Path(store).exists()  # noqa: ASYNC240


@sync
async def test_resizing_loses_nothing(store: Path, long_wait: str) -> None:
    async with shown(store, procedure=long_wait, person="simulated", speed="1", serial="LM-0042") as (app, pilot):
        await pilot.press("f8")
        await until(pilot, lambda: f"ON: {FED}" in text_of(app))
        for size in [(160, 50), (20, 5), (1, 1), (300, 100), (40, 10), (80, 24), (160, 50)]:
            await pilot.resize_terminal(*size)
            await pilot.pause(0.05)
        await until(pilot, lambda: "outputs, as read back" in text_of(app))
        seen = text_of(app)
        assert f"ON: {FED}" in seen
        assert "LM-0042" in seen
        assert "Esc ALL OFF" in seen
