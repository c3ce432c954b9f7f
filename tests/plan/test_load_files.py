"""Files become models; what is wrong with them is said in plain words at its place."""

# ruff: noqa: E501 (tables: one case a line)

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import pytest
from pydantic import Tag
from small_shop import Shop

from rig.errors import InputError
from rig.plan.load import FOLDERS, KINDS, bundled, load, load_named
from rig.plan.messages import written
from rig.plan.procedure import Procedure, Time
from rig.plan.values import Strict, chosen
from rig.quantities import Quantity


@pytest.mark.parametrize("kind", list(KINDS))
def test_every_bundled_file_is_read_and_bears_its_own_name(kind: str) -> None:
    files = bundled(kind)
    assert files
    for name, path in files.items():
        loaded = load(path)
        assert loaded.kind == kind
        assert loaded.tree.entries[0].value.text == name  # type: ignore[union-attr]
        assert load_named(kind, name).model == loaded.model


def test_the_two_simulated_benches_differ_in_their_wires_alone() -> None:
    """What protects people is the same on both: outputs with what proves them off, interlocks, circuits."""
    one, other = (load_named("bench", name).model.model_dump() for name in ("simulated", "simulated-rtu"))
    for part in set(one) - {"bench", "title", "links", "instruments"}:
        assert one[part] == other[part], part


def test_places_of_the_parts(shop: Shop) -> None:
    loaded = shop.load("procedure")
    assert loaded.where(()) == (1, 1)
    assert loaded.where(("stages", 1, "steps", 1, "time", "until", "is")) == shop.place("procedure", "wet")
    assert loaded.where(("stages", 1, "steps", 1, "meanwhile", 0, "at")) == shop.place("procedure", "valve-plug")
    assert loaded.where(("stages", 0, "needs")) == shop.place("procedure", "^stage: cold")
    assert isinstance(loaded.model, Procedure)
    step = loaded.model.stages[1].steps[1]
    assert isinstance(step, Time)
    assert step.time.start_within == Quantity(60.0, "s")


# old, new, where the fault points, words of the message
WRONG = [
    # keys
    ("procedure", "title: A small procedure", "titel: A small procedure", "titel", ("unknown key", "titel", "title")),
    ("procedure", "start-within: 60 s", "start_within: 60 s", "start_within", ("unknown key", "start-within")),
    ("procedure", "        over-range: open circuit", "        overange: open circuit", "overange", ("over-range",)),
    ("procedure", "thing: earth", "thing: earth\n        minuts: 3", "minuts", ("unknown key", "minutes")),
    ("bench", "bus: volts, select: {instrument: relays, channel: 8}", "buss: volts, bus: volts, select: {instrument: relays, channel: 8}", "buss", ("bus",)),
    ("profile", "within: 15 %, source: invented", "within: 15 %, source: invented, unit: Ohm", "unit: Ohm", ("unknown key", "at-least")),
    ("procedure", "    drive: dead\n", "", "^stage: cold", ("drive", "missing")),
    ("procedure", "          give-up: profile fill.give-up\n", "", "^from: {input", ("give-up", "missing")),
    ("procedure", "limit: {profile: fill-time}", "limit: {at-most: 2 min}", "{at-most: 2 min}", ("source", "missing")),
    ("procedure", "title: A small procedure", "title:", "title:\nrevision", ("title", "no value")),
    ("procedure", "needs: [earth]", "needs: [earth, ]", None, ()),
    ("procedure", "needs: [earth]", "needs: [earth, ~]", "~]", ("empty",)),
    # closed words
    ("procedure", "drive: dead", "drive: ded", "ded", ("dead", "board drives", "bench feeds", "nearest")),
    ("procedure", "measure: DC volts\n", "measure: dc volt\n", "dc volt", ("DC volts", "nearest")),
    ("procedure", "verb: press", "verb: push", "push", ("press", "look")),
    ("procedure", "after-bad: leave out stage", "after-bad: leave", "leave\n", ("leave out stage", "carry on", "end")),
    ("bench", "energizes: heater", "energizes: heat", "heat,", ("heater", "nearest")),
    ("bench", "{protocol: visa", "{protocol: vise", "vise", ("visa", "modbus-tcp")),
    ("procedure", "answer: {number-in: Ohm}", "answer: number", "answer: ^number", ("done", "yes or no", "text")),
    ("procedure", "answer: {number-in: Ohm}", "answer: {number: Ohm}", "{number: Ohm}", ("one-of", "number-in")),
    ("procedure", "answer: {number-in: Ohm}", "answer: {number-in: Ohms}", "Ohms", ("unit", "Ohm")),
    ("procedure", "is: on}", "is: on, be: off}", "be: off", ("unknown key", "input")),
    # shapes
    ("procedure", 'revision: "1"\nas-found', "revision: 1\nas-found", "1\nas-found", ("text", "quotes")),
    ("procedure", "title: A small procedure", "title: [a]", "[a]", ("text", "a list")),
    ("procedure", "title: A small procedure", "title: ''", "''", ("some text",)),
    ("procedure", "title: A small procedure", "title: " + "x" * 2001, "x" * 2001, ("2000",)),
    ("procedure", "stage: cold", "stage: Cold", "Cold", ("small letters", "Cold")),
    ("procedure", "needs: [earth]", "needs: earth", "needs: ^earth", ("a list", "earth")),
    ("procedure", "switch: {turn-on: [mains]}", "switch: {}", "{}", ("turn-on", "turn-off")),
    ("procedure", "switch: {turn-on: [mains]}", "switch: {turn-on: [mains], turn-off: [mains]}", "{turn-on: [mains], ", ("mains", "both")),
    ("procedure", "switch: {turn-on: [mains]}", "switch: mains", "switch: ^mains", ("a mapping", "mains")),
    ("procedure", "times: 3", "times: 1", "times: ^1", ("2", "found 1")),
    ("procedure", "times: 3", "times: 51", "times: ^51", ("50", "found 51")),
    ("procedure", "times: 3", "times: 3.5", "3.5", ("whole number", "3.5")),
    ("procedure", "times: 3", "times: '3'", "'3'", ("whole number",)),
    ("procedure", "times: 3", "times: true", "true", ("whole number",)),
    ("procedure", "thing: earth", "thing: earth\n        minutes: -1", "-1", ("not less than 0",)),
    ("procedure", "thing: earth", "thing: earth\n        minutes: 3 min", "3 min", ("a number",)),
    ("procedure", "record: [room]", "record: []", "[]", ("at least 1",)),
    ("bench", "simulated: true", "simulated: yes", "yes", ("true or false", "yes")),
    ("bench", "raw: [0, 30000]", "raw: [0, 1, 2]", "[0, 1, 2]", ("at most 2",)),
    ("bench", "channel: 10}", "channel: ten}", "ten", ("whole number", "ten")),
    ("bench", "channel: 10}", "channel: -1}", "-1", ("not less than 0",)),
    ("bench", "  jug: {instrument", "  Jug: {instrument", "^Jug: {", ("small letters", "Jug")),
    ("bench", "all-off-order: [heater, mains, feed]", "all-off-order: {heater: 1}", "{heater: 1}", ("a list", "mapping")),
    ("profile", "  mains: {voltage: 230 V}", "  mains: 230 V", "mains: ^230 V", ("a mapping", "230 V")),
    ("profile", "valve: DC coil", "valve: [DC, coil]", "[DC, coil]", ("number with a unit", "words")),
    ("profile", "valve: DC coil", "valve: true", "true", ("number with a unit", "words")),
    # quantities
    ("procedure", "range: 100 Ohm", "range: 100 Ohms", "100 Ohms", ("unit", "Ohm", "nearest")),
    ("procedure", "range: 100 Ohm", "range: wide", "wide", ("number", "24 V")),
    ("procedure", "range: 100 Ohm", "range: 1e999 Ohm", "1e999 Ohm", ("finite",)),
    ("procedure", "range: 100 Ohm", "range: 1e308 kOhm", "1e308 kOhm", ("finite",)),
    ("procedure", "range: 100 Ohm", "range: true", "true", ("number", "unit")),
    ("procedure", "every: 100 ms", "every: 100 V", "100 V\n        limit", ("time", "100 V")),
    ("procedure", "every: 100 ms", "every: 25 h", "25 h", ("more", "24 h")),
    ("procedure", "every: 100 ms", "every: 0 s", "0 s\n        limit", ("less",)),
    ("procedure", "give-up: profile fill.give-up", "give-up: profile fill", "profile fill", ("group.name",)),
    ("procedure", "give-up: profile fill.give-up", "give-up: 230 V", "230 V", ("time", "230 V")),
    ("procedure", "give-up: profile fill.give-up", "give-up: -1 s", "-1 s", ("above 0",)),
    ("procedure", "in: K/min", "in: K/minute", "K/minute", ("unit", "K/min")),
    ("bench", "shunt-accuracy: 0.1 %", "shunt-accuracy: 0.1 V", "0.1 V", ("share",)),
    # limits
    ("profile", "within: 15 %", "within: -15 %", "{nominal: 57.6 Ohm, within: -15", ("negative",)),
    ("profile", "within: 15 %", "minus: 15 %", "{nominal: 57.6 Ohm, minus", ("minus and plus",)),
    ("profile", "within: 15 %", "within: 3 V", "{nominal: 57.6 Ohm, within: 3", ("V", "Ohm")),
    ("profile", "{at-most: 2 min, source", "{at-least: 3 min, at-most: 2 min, source", "{at-least: 3 min", ("above",)),
    ("profile", "{at-most: 2 min, source", "{at-least: 3 V, at-most: 2 min, source", "{at-least: 3 V", ("kind",)),
    ("profile", "{at-most: 2 min, source", "{nominal: 20 Cel, within: 5 %, source", "{nominal: 20 Cel", ("K",)),
    ("profile", "{at-most: 2 min, source", "{source", "{source", ("at-least", "nominal")),
    ("procedure", "limit: {profile: fill-time}", "limit: 2 min", "limit: ^2 min", ("at-most", "profile")),
    ("procedure", "        limit: {profile: fill-time}\n", "", "^step: fill-time\n        time", ("limit", "no-limit")),
    ("procedure", "limit: {profile: fill-time}", "limit: {profile: fill-time}\n        no-limit: none", "^step: fill-time\n        time", ("either",)),
    # kinds of steps
    ("procedure", "switch: {turn-on: [mains]}", "swich: {turn-on: [mains]}", "^step: power", ("switch", "settle", "repeat", "swich", "nearest is 'switch'")),
    ("procedure", "            record: [room]\n            every: 1 s\n            judge: highest of room\n            no-limit: for the eye\n", "            settle: 1 s\n", None, ("measure", "record")),
    ("procedure", "            - step: rate\n", "            - step: nothing\n            - step: rate\n", "^step: nothing", ("repeated", "measure")),
    ("procedure", "judge: slope of jug", "judge: slope of jar", "^step: rate", ("judge", "slope of jar")),
    ("procedure", "judge: slope of jug", "judge: median of jug", "^step: rate", ("highest", "lowest", "mean")),
    ("procedure", "{quantity: room, reaches: 40 Cel}", "{quantity: room}", "{quantity: room}", ("reaches", "falls-to")),
    ("procedure", "{input: fill-drive, is: on}", "{contact: fill-drive}", "{contact", ("input", "output", "quantity")),
    ("procedure", "{ask: Press start., verb: press, thing: start-button}", "{press: start}", "{press: start}", ("ask", "turn-on")),
    # dates
    ("bench", "serial: M1", "serial: M1\n    calibrated-until: 2027-13-01", "2027-13-01", ("date", "2027-13-01")),
    ("bench", "serial: M1", "serial: M1\n    calibrated-until: soon", "soon", ("date", "soon")),
]  # fmt: skip


@pytest.mark.parametrize(("name", "old", "new", "at", "words"), WRONG)
def test_a_wrong_file(shop: Shop, name: str, old: str, new: str, at: str | None, words: tuple[str, ...]) -> None:
    changed = shop.change(old, new)
    if at is None and not words:
        assert changed.faults() == []
        return
    if at is None:
        (fault,) = changed.faults()
        assert all(w in fault.message for w in words)
        return
    changed.expect(name, at, *words)


@pytest.mark.parametrize(
    ("text", "place", "words"),
    [
        ("titel: x\n", (1, 1), ("procedure:", "unit-profile:", "bench:", "titel")),
        ("procedur: x\n", (1, 1), ("nearest is 'procedure'",)),
        ("title: x\nprocedure: y\n", (2, 1), ("first key", "title")),
        ("- procedure\n", (1, 1), ("key: value",)),
        ("just words\n", (1, 1), ("key: value",)),
        ("{}\n", (1, 1), ("key: value",)),
    ],
)
def test_the_first_key_tells_the_kind(
    tmp_path: Path, text: str, place: tuple[int, int], words: tuple[str, ...]
) -> None:
    path = tmp_path / "x.yaml"
    path.write_text(text)
    with pytest.raises(InputError) as caught:
        load(path)
    (fault,) = caught.value.faults
    assert (fault.line, fault.column) == place
    for word in words:
        assert word in fault.message


def test_all_faults_of_a_file_at_once_sorted_and_each_once(shop: Shop) -> None:
    changed = (
        shop.change("drive: dead", "drive: ded").change("times: 3", "times: 0").change("every: 100 ms", "every: x")
    )
    found = changed.faults()
    assert [(f.line, f.column) for f in found] == sorted(
        [
            changed.place("procedure", "ded"),
            changed.place("procedure", "times: ^0"),
            changed.place("procedure", "every: ^x"),
        ]
    )


def test_names_and_paths(shop: Shop, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = shop.path("bench")
    assert load_named("bench", str(path)).kind == "bench"
    monkeypatch.chdir(tmp_path)
    assert load_named("bench", "bench.yaml").kind == "bench"
    path.rename(tmp_path / "bench.yml")
    assert load_named("bench", "./bench.yml").kind == "bench"
    with pytest.raises(InputError) as caught:
        load_named("procedure", "./bench.yml")
    assert "this is a bench file, expected a procedure file" in caught.value.faults[0].message


@pytest.mark.parametrize("kind", list(FOLDERS))
def test_an_unknown_name_is_told_with_the_known_ones(kind: str) -> None:
    known = next(iter(bundled(kind)))
    with pytest.raises(InputError) as caught:
        load_named(kind, known[:-1] + "q")
    assert caught.value.exit_code == 2
    head, rest = caught.value.lines()
    assert f"nearest is '{known}'" in head or "nearest is" in head
    assert known in rest


@pytest.mark.parametrize(
    "name", ["..", ".", "", "a\0b", "Name", "a b", "x\x1b[2J", "a\\b", "~", "-x", "\u202eabc", "a" * 5000]
)
def test_a_name_that_is_none(name: str) -> None:
    with pytest.raises(InputError) as caught:
        load_named("bench", name)
    text = "\n".join(caught.value.lines())
    assert text.isprintable() or "\n" in text
    assert all(line.isprintable() for line in caught.value.lines())
    assert len(text) < 400


@pytest.mark.parametrize("name", ["../simulated", "benches/../simulated.yaml", "/etc", "a\0/b", "x/\x1b[2J.yaml"])
def test_a_path_that_leads_nowhere(name: str) -> None:
    with pytest.raises(InputError) as caught:
        load_named("bench", name)
    assert len(caught.value.faults) == 1
    assert str(caught.value.faults[0]).isprintable()


def test_the_path_of_an_error_loses_the_marks_of_unions_alone() -> None:
    step = ("stages", 0, "steps", 1)
    assert written((*step, "Measure", "measure"), Procedure) == (*step, "measure")
    assert written((*step, "Time", "time", "until", "InputEdge", "is"), Procedure) == (*step, "time", "until", "is")
    repeat = (*step, "Repeat", "repeat", "steps", 0, "Record", "limit", "LimitRef", "profile")
    assert written(repeat, Procedure) == (*step, "repeat", "steps", 0, "limit", "profile")
    assert written(("nowhere", "Measure"), Procedure) == ("nowhere", "Measure")


class _Left(Strict):
    left: int


class _Turn(Strict):
    turn: Annotated[
        Annotated[_Left, Tag("left")] | Annotated[int, Tag("number")],
        chosen(lambda value: "left" if isinstance(value, dict) else "number", "expected a turn"),
    ]


def test_a_mark_that_is_also_a_key_is_told_from_it() -> None:
    assert written(("turn", "left", "left"), _Turn) == ("turn", "left")
    assert written(("turn", "left", "unknown"), _Turn) == ("turn", "unknown")
