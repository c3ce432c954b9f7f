from __future__ import annotations

import pytest
from rich.cells import cell_len

from rig.cli.table import table
from rig.cli.wiring_tables import condition_text, wiring_lines, wiring_values
from rig.plan.load import load_named
from rig.plan.safety import InputHolds, OutputHolds, QuantityHolds, QuantityRises, StepConfirmed
from rig.plan.values import Strict
from rig.plan.wiring import Bench

HEAD = ("name", "what it is")


def plain(width: int, *rows: tuple[object, ...]) -> list[str]:
    return [line.plain for line in table(HEAD, rows, width)]


def test_columns_stand_under_their_heads_and_the_last_one_wraps() -> None:
    assert plain(30, ("mains", "both contactors, mains to the unit"), ("lid", "the lid")) == [
        "name   what it is",
        "mains  both contactors, mains",
        "       to the unit",
        "lid    the lid",
    ]


def test_for_want_of_room_the_last_column_stands_below() -> None:
    assert plain(24, ("mains", "both contactors")) == [
        "name",
        "    what it is",
        "mains",
        "    both contactors",
    ]


def test_what_is_written_cannot_act_on_the_terminal() -> None:
    (_, row) = plain(80, ("a\x1b[31m\nb", "c\u202e"))
    assert row == "a\\x1b[31m\\nb  c\\u202e"


@pytest.mark.parametrize("width", [60, 80, 110, 200])
def test_no_line_is_wider_than_the_terminal(width: int) -> None:
    bench = load_named("bench", "simulated").model
    assert isinstance(bench, Bench)
    assert all(cell_len(line.plain) < width for line in wiring_lines(bench, width))


def test_everything_on_a_bench_is_shown() -> None:
    bench = load_named("bench", "simulated").model
    assert isinstance(bench, Bench)
    text = "\n".join(line.plain for line in wiring_lines(bench, 200))
    values = wiring_values(bench)
    for kind in ("outputs", "inputs", "quantities", "test_points", "interlocks", "wiring_only", "circuits"):
        names = list(getattr(bench, kind))
        assert list(values[kind]) == names
        assert all(f"\n{name} " in text for name in names)
    for output in bench.outputs.values():
        assert str(output.longest_on) in text
        assert output.feedback in text


@pytest.mark.parametrize(
    ("kind", "written", "text"),
    [
        (InputHolds, {"input": "level-relay", "is": "wet"}, "level-relay wet"),
        (OutputHolds, {"output": "mains", "is": "off"}, "mains off"),
        (
            QuantityHolds,
            {
                "quantity": "chamber-pressure",
                "at-least": "1 kPa",
                "at-most": "350 kPa",
                "no-older-than": "2 s",
            },
            "chamber-pressure at least 1 kPa and at most 350 kPa, read within 2 s",
        ),
        (
            QuantityRises,
            {"quantity": "t", "rises": "2 K", "within": "60 s", "until": "95 Cel", "no-older-than": "2 s"},
            "t rises 2 K within 60 s, until 95 Cel",
        ),
        (StepConfirmed, {"confirmed": "earth-bond"}, "earth-bond passed in this run"),
    ],
)
def test_conditions_in_words(kind: type[Strict], written: dict[str, str], text: str) -> None:
    assert condition_text(kind.model_validate(written)) == text
