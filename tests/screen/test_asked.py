"""What a command asks, as a form has it: in words for a form, and back to the command as its command line has it."""

from __future__ import annotations

import re

import click
import pytest

from rig.cli.job_indicators import MOVES
from rig.cli.receive import command as receive_command
from rig.cli.release import command as release_command
from rig.cli.repair import command as repair_command
from rig.records.job import CORRECTABLE
from rig.screen.asked import arguments_of, fields_of, for_a_form, told_of
from rig.screen.words import read_words

FORMS = {**MOVES, "repair": repair_command, "release": release_command, "receive": receive_command}
# what only somebody at a command line could use
TYPED = re.compile(r"--|'rig |exit code|terminal|repeated|[Oo]ption|\bargument|JSON|\bJOB\b|\b[A-Z]+=[A-Z]+|\bENTRY\b")


def test_cautions_are_told_apart_from_rules() -> None:
    cautions = {name: [t for t in told_of(command) if t.startswith("!")] for name, command in FORMS.items()}
    assert {name for name, found in cautions.items() if found} == {"repair", "receive"}
    assert "without pressure" in cautions["repair"][0]
    assert "contaminated" in cautions["receive"][0]


@pytest.mark.parametrize("name", FORMS)
def test_a_form_speaks_to_somebody_at_a_form(name: str) -> None:
    for text in told_of(FORMS[name]):
        assert not TYPED.search(text), text
    for field in fields_of(FORMS[name]):
        assert field.hint, f"{field.name}: nothing says what belongs there"
        assert not TYPED.search(field.hint), field.hint


def test_the_command_line_says_what_only_it_needs() -> None:
    context = click.Context(release_command, info_name="release")
    assert "exit code 4" in release_command.get_help(context)
    assert "May be repeated." in repair_command.get_help(click.Context(repair_command, info_name="repair"))
    assert "rig job N" in " ".join(receive_command.get_help(click.Context(receive_command, info_name="x")).split())


def test_what_can_be_corrected_is_what_its_hint_names() -> None:
    hint = next(f.hint for f in fields_of(MOVES["correct"]) if f.name == "field")
    named = set(re.findall(r"[a-z_]+", hint)) - {"or"}
    assert named == {field for fields in CORRECTABLE.values() for field in fields}


def test_what_is_asked_for_at_the_terminal_is_needed_in_a_form() -> None:
    found = {f.name: f for f in fields_of(receive_command, {"serial": "LM-1"}, {"complaint": ["a", "b"]})}
    assert {name for name, field in found.items() if field.needed} == {"serial", "owner", "complaint"}
    assert found["serial"].value == "LM-1"
    assert found["complaint"].choices == ("a", "b")
    assert found["data"].choices == ("", "none", "left", "copied", "erased")
    assert found["accessories"].several


def test_answers_go_back_as_the_command_line_has_them() -> None:
    signed = ["--by=A. Bench"]
    assert arguments_of(MOVES["look"], {"looks": "vessel=ok; cord=cut ;"}, signed) == [
        *signed,
        "--",
        "vessel=ok",
        "cord=cut",
    ]
    assert arguments_of(MOVES["explain"], {"finding": "-x", "reason": " why "}) == ["--reason=why", "--", "-x"]
    assert arguments_of(MOVES["estimate"], {"price": "90", "words": "", "beyond_repair": "yes"}) == [
        "--price=90", "--beyond-repair",
    ]  # fmt: skip
    assert arguments_of(repair_command, {"parts": "a=1; b=2", "beyond_repair": "no"}) == ["--part=a=1", "--part=b=2"]


@pytest.mark.parametrize(
    ("said", "told"),
    [
        ("--price: a price is a number from 0 up", "price: a price is a number from 0 up"),
        ("Invalid value for '--beyond-repair': x", "Invalid value for 'beyond repair': x"),
        ("--by: A. Bench is technician; this is for QA", "who does it: A. Bench is technician; this is for QA"),
        ("wait, or: 'rig people unlock NAME --by L'.", "wait, or: 'rig people unlock NAME --by L'."),
        ("--nothing of this", "--nothing of this"),
    ],
)
def test_a_refusal_names_the_field(said: str, told: str) -> None:
    assert for_a_form(said, MOVES["estimate"], read_words()) == told
