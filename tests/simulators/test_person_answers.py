"""The simulated person: kinds of answers, units, and what the deeds do."""

import pytest
from walk import Walk

from simulators.plant import Plant


@pytest.mark.parametrize(
    ("kind", "options", "answer"),
    [
        ("done", [], True),
        ("yes-no", [], True),
        ("choice", ["red", "blue"], "red"),
        ("number", [], None),
        ("text", [], ""),
    ],
)
def test_things_nobody_told_of(kind: str, options: list[str], answer: object) -> None:
    got, seconds = Plant().person("look", "paint", kind, options, "")
    assert got == answer
    assert type(got) is type(answer)
    assert seconds > 0.0


def test_a_number_comes_in_the_unit_asked_for() -> None:
    plant = Plant(seed=1)
    megohm, _ = plant.person("measure", "insulation", "number", [], "MOhm")
    ohm, _ = plant.person("measure", "insulation", "number", [], "Ohm")
    assert isinstance(megohm, float)
    assert ohm == pytest.approx(megohm * 1e6)
    milli, _ = plant.person("measure", "earth-bond", "number", [], "mOhm")
    one, _ = plant.person("measure", "earth-bond", "number", [], "Ohm")
    assert isinstance(one, float)
    assert milli == pytest.approx(1000.0 * one)
    assert one == round(one, 3)
    assert plant.person("measure", "earth-bond", "number", [], "kg")[0] is None


def test_a_yes_no_about_a_measured_thing_is_still_a_yes() -> None:
    assert Plant().person("look", "earth-bond", "yes-no", [], "")[0] is True


def test_durations_are_plausible_and_vary() -> None:
    plant = Plant()
    times = [plant.person("move-lead", "break-out", "done", [], "")[1] for _ in range(5)]
    assert all(60.0 < one < 300.0 for one in times)
    assert len(set(times)) == 5
    assert plant.person("press", "start-button", "done", [], "")[1] < 2.0


def test_weighing_empties_the_chamber_to_a_film() -> None:
    walk = Walk(Plant(seed=4))
    walk.fill("fill-time")
    held = 1000.0 * walk.plant.unit.stores.chamber
    grams = walk.number("chamber-water", "g")
    assert grams == round(grams)
    assert held - 3.0 < grams < held
    assert walk.plant.unit.stores.chamber < 0.002
    assert not walk.plant.inputs()[15]
    assert not walk.plant.inputs()[16]
    assert walk.plant.quantity(8) == pytest.approx(grams, abs=0.6)  # still on the scale
    assert walk.number("chamber-water", "kg") == pytest.approx(0.0, abs=0.001)


def test_an_empty_jug_takes_what_runs_and_the_scale_lags() -> None:
    walk = Walk(Plant(seed=4))
    walk.ask("jug-in-place")
    for channel in (2, 6, 3):
        walk.coil(channel, True)
    walk.wait(20.0)
    first, jug = walk.plant.quantity(8), 1000.0 * walk.plant.unit.stores.jug
    assert 70.0 < first < jug < first + 4.0  # half a second of about 4.6 g/s behind
    walk.coil(3, False)
    walk.wait(15.0)
    assert walk.plant.quantity(8) == pytest.approx(1000.0 * walk.plant.unit.stores.jug, abs=0.1)
    walk.ask("jug-in-place")
    walk.wait(5.0)
    assert walk.plant.quantity(8) < 1.0


def test_the_start_button_needs_power_and_a_shut_door() -> None:
    walk = Walk(Plant())
    walk.ask("start-button")
    walk.coil(0, True)
    walk.wait(10.0)
    walk.ask("start-button")
    walk.wait(10.0)
    assert not walk.plant.inputs()[17]
    walk.ask("door-shut")
    walk.ask("start-button")
    walk.wait(10.0)
    assert walk.plant.inputs()[17]
