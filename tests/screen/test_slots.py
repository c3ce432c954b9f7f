"""Several slots on one screen: each run, each question, each word typed stays with its slot; off is off in all."""

from __future__ import annotations

from pathlib import Path

import pytest
from textual.pilot import Pilot

from rig.cli.main import run
from rig.errors import InputError
from rig.limits import Verdict
from rig.plan.load import bundled
from rig.screen.app import BenchApp
from rig.screen.preset import Preset, side_by_side
from rig.screen.slot import Slot, Slots
from tests.screen.conftest import shown, sync, text_of, until
from tests.screen.pictures import held

FED = "ON: bus-dc24"
OHMS = """\
procedure: ohms
title: A number
revision: "1"
stages:
  - stage: bond
    title: Bond
    drive: dead
    steps:
      - step: bond
        ask: Earth bond?
        verb: measure
        thing: earth-bond
        answer: {number-in: Ohm}
        limit: {at-most: 0.5 Ohm, source: invented for the tests}
"""


@pytest.fixture
def gloved_wait(long_wait: str) -> str:
    """A long wait whose stage has a caution."""
    path, feeds = Path(long_wait), "drive: bench feeds\n"
    path.write_text(path.read_text("utf-8").replace(feeds, f"{feeds}    cautions: [Gloves.]\n"), "utf-8")
    return long_wait


def strips(app: BenchApp) -> list[str]:
    """The lines that say what is energized."""
    return text_of(app).splitlines()[: len(app.slots)]


def ended(slot: Slot) -> bool:
    return slot.scene is not None and slot.scene.ended is not None and slot.scene.over is not None


async def begin_all(app: BenchApp, pilot: Pilot[int], says: str) -> None:
    """A run in every slot; the first is the chosen one again."""
    for n in range(len(app.slots)):
        await pilot.press("f8")
        await until(pilot, lambda n=n: says in (strips(app)[n] if says == FED else text_of(app)))
        await pilot.press("f12")


@sync
async def test_each_question_is_answered_in_its_slot_and_one_fails_while_the_other_goes_on(
    store: Path, two_looks: str
) -> None:
    async with shown(store, slots=2, procedure=two_looks) as (app, pilot):
        one, two = app.slots
        await pilot.press("f8")
        await until(pilot, lambda: "slot 1, simulated, asks:" in text_of(app) and "CAUTION Gloves." in text_of(app))
        await pilot.press("f12")
        await until(pilot, lambda: "A question waits in slot 1: F12." in text_of(app))
        assert app.page is app.begin_page
        assert "CAUTION Gloves." not in text_of(app)
        await pilot.press("f8")
        await until(pilot, lambda: "slot 2, simulated, asks:" in text_of(app))
        await pilot.press("c")
        await until(pilot, lambda: "[Y] yes" in text_of(app))
        await pilot.press("f12")
        await until(pilot, lambda: "slot 1, simulated, asks:" in text_of(app))
        assert "[Y] yes" not in text_of(app)  # its caution was read in the other slot alone
        assert "A question waits in slot 2: F12." in text_of(app)
        await pilot.press("c")
        await until(pilot, lambda: "[Y] yes" in text_of(app))
        await pilot.press("n")
        await until(pilot, lambda: ended(one))
        assert one.scene is not None and one.scene.results[0].verdict is Verdict.FAIL
        assert two.prompt is not None
        assert two.scene is not None and not two.scene.results
        await pilot.press("f12", "y")
        await until(pilot, lambda: ended(two))
        assert [str(r.verdict) for r in two.scene.results] == ["pass", "pass"]
        assert one.scene.started is not None and two.scene.started is not None
        assert one.scene.started.run != two.scene.started.run
        assert (one.scene.started.seed, two.scene.started.seed) == (0, 1)


@sync
async def test_both_are_seen_on_every_page_and_one_key_turns_both_off(store: Path, long_wait: str) -> None:
    async with shown(store, slots=2, procedure=long_wait, person="simulated", speed="1") as (app, pilot):
        await begin_all(app, pilot, FED)
        for key in ("f1", "f1", "f6", "f3", "f2"):
            await pilot.press(key)
            await pilot.pause(0.15)
            assert [FED in line and "read back" in line for line in strips(app)] == [True, True], app.page.name
            assert ["slot 1" in strips(app)[0], "slot 2" in strips(app)[1]] == [True, True]
        await pilot.press("f3", "escape")
        await until(pilot, lambda: all(ended(slot) for slot in app.slots))
        await until(pilot, lambda: all("EVERYTHING IS OFF, confirmed" in line for line in strips(app)))
        for slot in app.slots:
            assert slot.scene is not None and slot.scene.ended is not None
            assert slot.scene.ended.all_off
            assert "by a key" in (slot.scene.ended.reason or "")


@sync
async def test_leaving_waits_until_all_are_off(store: Path, long_wait: str) -> None:
    async with shown(store, slots=2, procedure=long_wait, person="simulated", speed="1") as (app, pilot):
        await begin_all(app, pilot, FED)
        await pilot.press("f10")
        app.begin(app.slot, app.begin_page.wanted(), "", 0.0)  # whoever has left begins nothing more
        assert app.notice == app.words("notice.leaving")
        await until(pilot, lambda: app.left)
        for slot in app.slots:
            assert slot.scene is not None and slot.scene.ended is not None and slot.scene.ended.all_off


@sync
async def test_pause_is_for_the_chosen_slot_alone_and_says_so(store: Path, long_wait: str) -> None:
    async with shown(store, slots=2, procedure=long_wait, speed="1") as (app, pilot):
        await begin_all(app, pilot, FED)
        await pilot.press("f12", "f5")
        await until(pilot, lambda: "Slot 2: Everything goes off" in text_of(app) or app.ask_box.prompt is not None)
        await until(pilot, lambda: "CAUTION Outputs will be switched again." in text_of(app))
        assert "slot 2, simulated, asks:" in text_of(app)
        assert FED in strips(app)[0]
        assert "NOTHING IS ON" in strips(app)[1]


@sync
async def test_what_is_half_typed_stays_with_its_slot(store: Path, tmp_path: Path) -> None:
    path = tmp_path / "ohms.yaml"
    path.write_text(OHMS, encoding="utf-8")
    async with shown(store, slots=2, procedure=str(path)) as (app, pilot):
        one, two = app.slots
        await pilot.press("f8")
        await until(pilot, lambda: app.ask_box.typing)
        await pilot.press(*"0.", "f12", *"29")
        assert app.begin_page.serial.value == "29"
        await pilot.press("f8")
        await until(pilot, lambda: app.ask_box.typing and app.slot is two)
        await pilot.press(*"0.4", "f12")
        await until(pilot, lambda: "slot 1, simulated, asks:" in text_of(app))
        await pilot.press("1", "enter")
        await until(pilot, lambda: ended(one))
        assert one.scene is not None and two.scene is not None
        assert one.scene.results[0].reading is not None
        assert one.scene.results[0].reading.value == 0.1
        assert two.scene.results == []
        await pilot.press("f12", "enter")
        await until(pilot, lambda: ended(two))
        assert two.scene.results[0].reading is not None
        assert two.scene.results[0].reading.value == 0.4


@sync
async def test_a_key_that_is_not_yet_an_answer_when_the_slot_changes_is_none(store: Path, two_looks: str) -> None:
    async with shown(store, slots=2, procedure=two_looks) as (app, pilot):
        await begin_all(app, pilot, "CAUTION Gloves.")
        for follows in ("", "c"):  # nothing, or more of the same burst
            app.keystrokes.take("c")
            app.next_slot()
            for key in follows:
                app.keystrokes.take(key)
            await pilot.pause(0.4)
            assert [app.owned[slot].ask_box.keys() for slot in app.slots] == [[("c", "I have read the caution")]] * 2
            assert "Scanned" not in text_of(app)
        await pilot.press("c")
        await until(pilot, lambda: "[Y] yes" in text_of(app))


@sync
async def test_a_scanned_unit_is_told_to_be_in_its_slot_and_begins_in_no_other(store: Path, two_looks: str) -> None:
    async with shown(store, slots=2, procedure=two_looks, serial="LM-0042") as (app, pilot):
        await pilot.press("f8")
        await until(pilot, lambda: "CAUTION Gloves." in text_of(app))
        for key in "LM-0042":
            app.keystrokes.take(key)
        await until(pilot, lambda: "Scanned LM-0042: the unit in slot 1, the chosen one." in text_of(app))
        for key in "LM-0043":
            app.keystrokes.take(key)
        await until(pilot, lambda: "Scanned LM-0043: in NO slot where a run goes on." in text_of(app))
        await pilot.press("f12")
        await until(pilot, lambda: app.focused is app.begin_page.serial.input)
        await pilot.press(*"LM-0042", "enter")
        await until(pilot, lambda: "Scanned LM-0042: the unit in slot 1, NOT in the chosen one." in text_of(app))
        await pilot.press("f8")
        await until(pilot, lambda: app.slot.running is None and "the unit in slot 1, NOT" in text_of(app))
        assert app.page is app.begin_page


@sync
async def test_a_fault_is_put_into_the_chosen_slots_unit(store: Path, long_wait: str) -> None:
    async with shown(store, slots=2, procedure=long_wait, person="simulated", speed="1") as (app, pilot):
        await pilot.press("f12", "f6")
        await until(pilot, lambda: "> ···· 0.00  filter-choked" in text_of(app))
        await pilot.press("right")
        await until(pilot, lambda: "█··· 0.25  filter-choked" in text_of(app))
        await pilot.press("f12")
        await until(pilot, lambda: "> ···· 0.00  filter-choked" in text_of(app))
        await pilot.press("f2")
        await begin_all(app, pilot, FED)
        found = [slot.scene.started.faults for slot in app.slots if slot.scene is not None and slot.scene.started]
        assert found == [(), (("filter-choked", 0.25),)]


@sync
async def test_what_went_wrong_in_another_slot_waits_until_it_is_looked_at(store: Path, two_looks: str) -> None:
    async with shown(store, slots=2, procedure=two_looks) as (app, pilot):
        await pilot.press("f8", "f12")
        await until(pilot, lambda: "A question waits in slot 1" in text_of(app))
        running = app.slots.following.running
        assert running is not None
        running.end("the test wants it")
        await until(pilot, lambda: "Slot 1: The run is over: stopped" in text_of(app))
        assert "A question waits" not in text_of(app)
        await pilot.press("f1", "f1")
        assert "Slot 1: The run is over: stopped" in text_of(app)
        await pilot.press("f12", "f12")
        assert "Slot 1: The run is over" not in text_of(app)


@sync
async def test_help_lists_the_next_slot_where_there_is_one(store: Path) -> None:
    async with shown(store, slots=3) as (app, pilot):
        await pilot.press("f12", "f1")
        await until(pilot, lambda: "F12     slot 3" in text_of(app))
        assert "Esc     ALL SLOTS OFF" in text_of(app)
    async with shown(store) as (app, pilot):
        await pilot.press("f12", "f1")
        await until(pilot, lambda: "What can be done now" in text_of(app))
        assert "F12" not in text_of(app)
        assert "slot" not in text_of(app)


@sync
async def test_what_is_on_in_a_slot_that_is_not_chosen_has_its_cautions_beside_it(
    store: Path, gloved_wait: str
) -> None:
    said = "! Gloves."
    async with shown(store, (160, 50), slots=2, procedure=gloved_wait, person="simulated", speed="1") as (app, pilot):
        await begin_all(app, pilot, FED)
        await until(pilot, lambda: text_of(app).count(said) == len(app.slots))
        await pilot.resize_terminal(80, 24)
        await until(pilot, lambda: text_of(app).count(said) == 1)
        await pilot.press("escape")
        await until(pilot, lambda: all(ended(slot) for slot in app.slots))
        assert said not in text_of(app)


@sync
async def test_two_slots_as_they_are_seen(store: Path, two_looks: str) -> None:
    async with shown(store, slots=2, procedure=two_looks, by="A. Bench", serial="LM-0042") as (app, pilot):
        one, _ = app.slots
        await pilot.press("f8")
        await until(pilot, lambda: "CAUTION Gloves." in text_of(app))
        await pilot.press("c")
        await until(pilot, lambda: "[Y] yes" in text_of(app))
        await pilot.press("y")
        await until(pilot, lambda: ended(one))
        await pilot.press("f12", *"LM-0077", "f8")
        await until(pilot, lambda: "slot 2, simulated, asks:" in text_of(app))
        await held(pilot, "two-slots")
        await pilot.press("f12")
        await held(pilot, "two-slots-other")


def test_each_simulated_bench_has_the_seed_after_that_of_the_one_before() -> None:
    found = side_by_side(Preset(seed=2**63 - 2, serial="LM-0042"), ["simulated"] * 3)
    assert [one.seed for one in found] == [2**63 - 2, 2**63 - 1, 0]
    assert [one.serial for one in found] == ["LM-0042", "", ""]


def test_one_bench_is_taken_as_it_is_named_though_it_cannot_be_read() -> None:
    assert side_by_side(Preset(), ["no-such-bench"])[0].bench == "no-such-bench"


def test_equipment_that_two_slots_would_share_is_refused(tmp_path: Path) -> None:
    other = tmp_path / "other.yaml"
    other.write_text(bundled("bench")["hand-meter"].read_text("utf-8").replace("bench: hand-meter", "bench: other"))
    for benches in (["hand-meter", "hand-meter"], ["simulated", "hand-meter", str(other)]):
        with pytest.raises(InputError, match="the table by the window"):
            side_by_side(Preset(), benches)
    other.write_text(other.read_text("utf-8").replace("the table by the window", "the table by the door"))
    assert len(side_by_side(Preset(), ["hand-meter", str(other)])) == 2


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (["--plain", *["--bench=simulated"] * 2], "--plain is for one bench"),
        (["--bench=simulated"] * 5, "room for 4 slots"),
    ],
)
def test_what_cannot_be_beside_is_refused(arguments: list[str], says: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["screen", *arguments]) == 2
    assert says in capsys.readouterr().err


@pytest.mark.parametrize(("at", "room", "shown_there"), [(0, 2, [1, 2]), (1, 2, [1, 2]), (2, 2, [2, 3]), (2, 1, [3])])
def test_the_chosen_slot_is_among_those_that_are_shown_beside_one_another(
    at: int, room: int, shown_there: list[int]
) -> None:
    slots = Slots([Preset()] * 3)
    slots.choose(list(slots)[at])
    assert [slot.number for slot in slots.shown_beside(room)] == shown_there
