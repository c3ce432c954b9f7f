"""Every word that the screen says is in its file, and every one in the file is said."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from rich.text import Text

from rig.cli.rows import wrapped
from rig.errors import InputError
from rig.plan.load import bundled, load_named
from rig.screen.slot_text import LONGEST_NOTICE, NOTICE_LINES
from rig.screen.words import BUNDLED, read_words
from tests.screen.conftest import shown, sync, text_of, until

ROOM = BUNDLED.parent
MADE = {  # names that are put together
    "begin.person-auto", "begin.person-simulated", "output.on", "output.off", "output.unsure",
    "side.faults", "side.lies", "side.wire", "side.plan",
}  # fmt: skip


def test_what_is_said_is_what_is_there() -> None:
    names = set(re.findall(r"^([a-z][a-z.-]*):", BUNDLED.read_text(encoding="utf-8"), re.MULTILINE))
    source = "\n".join(path.read_text(encoding="utf-8") for path in ROOM.glob("*.py"))
    said = set(re.findall(r"""["']([a-z]+\.[a-z-]+|simulated)["']""", source))
    assert names - said - MADE == set()


def test_every_name_that_is_asked_for_is_there() -> None:
    words = read_words()
    for path in ROOM.glob("*.py"):
        for name in re.findall(r"""(?:words|say)\(\s*["']([a-z.-]+)["']\s*[,)]""", path.read_text(encoding="utf-8")):
            assert "{" in words(name) or words(name)


def test_a_translation_takes_the_places(tmp_path: Path) -> None:
    own = tmp_path / "fr.yaml"
    own.write_text(
        'act.off: TOUT COUPER\npower.nothing: "RIEN N\'EST SOUS TENSION, relu il y a {age}"\n', encoding="utf-8"
    )
    words = read_words(str(own))
    assert words("act.off") == "TOUT COUPER"
    assert words("power.nothing", age="0.2 s").endswith("relu il y a 0.2 s")
    assert words("act.help") == "help"


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("act.of: X\n", "act.off"),
        ("act.off: 3\n", "expected a text"),
        ("act.off: '{age}'\n", "place"),
        ("power.nothing: '{aeg}'\n", "aeg"),
        ("power.nothing: '{age'\n", "place"),
        ("- a\n", "expected names and texts"),
        ("a: [\n", ""),
    ],
)
def test_a_bad_translation_is_refused(tmp_path: Path, text: str, says: str) -> None:
    own = tmp_path / "bad.yaml"
    own.write_text(text, encoding="utf-8")
    with pytest.raises(InputError) as told:
        read_words(str(own))
    assert says in "\n".join(told.value.lines())


@pytest.mark.parametrize("procedure", sorted(bundled("procedure")))
def test_the_cautions_of_a_stage_are_read_whole_on_80_columns(procedure: str) -> None:
    for stage in load_named("procedure", procedure).model.stages:
        told = f"! {' '.join(stage.cautions)}"
        assert len(told) <= LONGEST_NOTICE
        assert len(wrapped(Text(told), 80, 0)) <= NOTICE_LINES


@sync
async def test_help_has_its_caution_where_it_is_seen_and_the_rest_one_leaf_further(tmp_path: Path) -> None:
    async with shown(tmp_path / "records.sqlite") as (app, pilot):
        await pilot.press("f1")
        await until(pilot, lambda: "Software is not the safety function." in text_of(app))
        assert "an arrow when it" not in text_of(app)
        await pilot.press("pagedown")
        await until(pilot, lambda: "lies further out." in text_of(app))
