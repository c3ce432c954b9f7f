"""Every word that the screen says is in its file, and every one in the file is said."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from rig.errors import InputError
from rig.screen.words import BUNDLED, read_words

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
