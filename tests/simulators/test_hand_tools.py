"""The person's own instruments: they read the unit as it is, and a stop-watch sees what happens meanwhile."""

from __future__ import annotations

import re

import pytest

from simulators.fixture import MAINS, RELAYS, TO_BENCH
from simulators.plant import Plant


def ask(plant: Plant, thing: str, kind: str, options: list[str]) -> object:
    answer, seconds = plant.person("measure", thing, kind, options, "")
    plant.advance(plant.now + seconds)
    return answer


def number(answer: object) -> float:
    found = re.match(r"[-+.\de]+", str(answer))
    assert found is not None, answer
    return float(found.group())


def test_a_reading_is_the_units_own_within_what_it_says() -> None:
    plant = Plant(seed=3)
    plant.set_coil(RELAYS, TO_BENCH, True)
    plant.advance(1.0)
    for point, function, true in (
        ("fill-coil", "resistance four-wire", plant.unit.valve.ohms),
        ("cut-out", "resistance four-wire", plant.unit.model.heat.cut_out_ohm),
    ):
        said = str(ask(plant, point, "reading", [function]))
        off_by = number(said.split("±")[1].strip())
        assert abs(number(said) - true) <= off_by
        assert said.endswith(" with hand meter SIM-HM-1")
    assert number(ask(plant, "ambient-temperature", "reading", ["temperature"])) == pytest.approx(
        plant.unit.model.place.ambient, abs=0.5
    )


def test_what_is_open_is_more_than_it_shows_and_what_nobody_can_read_is_nothing() -> None:
    plant = Plant(seed=3, faults={"coil-open": 1.0})
    plant.set_coil(RELAYS, TO_BENCH, True)
    plant.advance(1.0)
    assert str(ask(plant, "fill-coil", "reading", ["resistance four-wire"])).startswith("more than 10 MOhm")
    assert ask(plant, "fill-supply", "reading", ["resistance"]) is None
    assert ask(plant, "fill-supply", "reading", ["DC amps"]) is None
    assert ask(plant, "chamber-pressure-low", "reading", ["highest"]) is None
    assert ask(plant, "nothing-of-the-kind", "reading", ["DC volts"]) is None
    assert plant.abuses == []


def test_ohms_on_a_live_circuit_are_an_abuse_by_hand_too() -> None:
    plant = Plant(seed=3)
    plant.fixture.lid_shut = True
    plant.set_coil(RELAYS, MAINS, True)
    plant.advance(1.0)
    ask(plant, "heater", "reading", ["resistance four-wire"])
    assert plant.abuses == ["ohms on a live circuit: heater"]


def test_the_panels_switches_and_all_off() -> None:
    plant = Plant(seed=3)
    assert ask(plant, "switch-fill-to-bench-on", "done", []) is True
    assert plant.coils(RELAYS)[TO_BENCH]
    assert ask(plant, "switch-no-such-thing-on", "done", []) is None
    ask(plant, "all-off", "done", [])
    assert not any(plant.coils(RELAYS))


EDGES = ["fill-to-bench on", "fill-to-bench off", "60", "180"]


def test_a_stop_watch_runs_between_its_edges_however_often_one_looks() -> None:
    plant = Plant(seed=3)
    assert ask(plant, "stop-watch", "done", EDGES) is True
    assert ask(plant, "stop-watch", "stop-watch", EDGES) is None
    plant.set_coil(RELAYS, TO_BENCH, True)
    plant.advance(plant.now + 40.0)
    assert ask(plant, "stop-watch", "stop-watch", EDGES) is None
    plant.set_coil(RELAYS, TO_BENCH, False)
    plant.advance(plant.now + 20.0)
    assert number(ask(plant, "stop-watch", "stop-watch", EDGES)) == pytest.approx(41.0, abs=0.6)
    assert ask(plant, "stop-watch", "done", EDGES) is True  # and is taken up again


def test_a_stop_watch_that_never_begins_or_never_ends() -> None:
    plant = Plant(seed=3)
    ask(plant, "stop-watch", "done", EDGES)
    plant.advance(plant.now + 100.0)
    assert ask(plant, "stop-watch", "stop-watch", EDGES) == "never began"
    ask(plant, "stop-watch", "done", EDGES)
    plant.set_coil(RELAYS, TO_BENCH, True)
    plant.advance(plant.now + 200.0)
    assert ask(plant, "stop-watch", "stop-watch", EDGES) == "more than 180 s with stop-watch SIM-S1"


def test_a_state_that_was_there_before_is_no_edge() -> None:
    plant = Plant(seed=3)
    plant.set_coil(RELAYS, TO_BENCH, True)
    plant.advance(1.0)
    ask(plant, "stop-watch", "done", EDGES)
    plant.advance(plant.now + 100.0)
    assert ask(plant, "stop-watch", "stop-watch", EDGES) == "never began"
