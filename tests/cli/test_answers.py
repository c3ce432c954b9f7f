from __future__ import annotations

from pathlib import Path

import pytest

from rig.cli.answers import read_answers
from rig.errors import InputError
from rig.events import Prompted


def prompt(step: str, kind: str, unit: str = "", options: tuple[str, ...] = ()) -> Prompted:
    return Prompted(0.0, step, "look", "thing", "Well?", "", kind, unit, options)


PROMPTS = (
    prompt("statement", "yes-no"),
    prompt("earth-bond", "number", "Ohm"),
    prompt("water", "choice", options=("clear", "milky")),
    prompt("remark", "text"),
    prompt("fitted", "done"),
)


def read(tmp_path: Path, text: str) -> dict[str, str]:
    path = tmp_path / "answers.yaml"
    path.write_text(text, encoding="utf-8")
    return read_answers(path, PROMPTS)


def test_answers_are_taken_as_they_are_written(tmp_path: Path) -> None:
    text = 'statement: yes\nearth-bond: 0.10\nwater: milky\nremark: "12"\nfitted: done\n'
    assert read(tmp_path, text) == {
        "statement": "yes",
        "earth-bond": "0.10",
        "water": "milky",
        "remark": "12",
        "fitted": "done",
    }


def test_not_every_prompt_needs_one(tmp_path: Path) -> None:
    assert read(tmp_path, "earth-bond: 150 mOhm\n") == {"earth-bond": "150 mOhm"}


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("statment: yes\n", ":1:1: no prompt is called 'statment'; nearest is 'statement'"),
        ("remark: x\nzzz: yes\n", ":2:1: no prompt is called 'zzz'"),
        ("statement: maybe\n", ":1:12: statement: expected 'yes' or 'no', found 'maybe'"),
        ("statement: true\n", ":1:12: statement: expected 'yes' or 'no'"),
        ("earth-bond: 3 V\n", ":1:13: earth-bond: V (voltage) cannot be given in Ohm"),
        ("water: brown\n", ":1:8: water: expected one of clear, milky"),
        ("statement:\n", "'statement' has no answer"),
        ("statement: [yes]\n", ":1:12: the answer to 'statement' is one value"),
        ("- yes\n", ":1:1: expected lines of the form"),
        ('remark: "\\e[31m"\n', "does not print"),
        ("statement: yes\nstatement: no\n", "given twice"),
    ],
)
def test_faults_have_a_place(tmp_path: Path, text: str, says: str) -> None:
    with pytest.raises(InputError) as caught:
        read(tmp_path, text)
    assert says in "\n".join(caught.value.lines())
    assert caught.value.exit_code == 2


def test_all_faults_at_once(tmp_path: Path) -> None:
    with pytest.raises(InputError) as caught:
        read(tmp_path, "water: brown\nstatement: maybe\n")
    assert [fault.line for fault in caught.value.faults] == [1, 2]


def test_a_file_that_is_not_there(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="cannot be used"):
        read_answers(tmp_path / "none.yaml", PROMPTS)


def test_prompts_of_other_units_are_let_be(tmp_path: Path) -> None:
    path = tmp_path / "answers.yaml"
    path.write_text("statement: yes\nac-coil: whatever\n", encoding="utf-8")
    assert read_answers(path, PROMPTS, {"statement", "ac-coil"}) == {"statement": "yes"}
    with pytest.raises(InputError):
        read_answers(path, PROMPTS)
