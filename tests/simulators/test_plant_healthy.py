"""A healthy unit passes every limit of its inspection with room to spare, whatever the seed."""

from math import inf

import pytest
from walk import LIMITS, Walk

from simulators.plant import Plant

# Narrower than the limits: a healthy unit is not to be a matter of luck.
ROOM: dict[str, tuple[float, float]] = {
    **LIMITS,
    "heater-cold-resistance": (34.4, 37.0),
    "cut-out-resistance": (0.01, 0.05),
    "chassis-reference-resistance": (0.02, 0.25),
    "fill-lead-resistance": (0.1, 0.5),
    "coil-resistance-at-20": (57.6 * 0.95, 57.6 * 1.05),
    "idle-current": (0.020, 0.060),
    "fill-supply-loaded": (22.5, 25.5),
    "fill-current-from-board": (0.37, 0.45),
    "fill-time": (75.0, 110.0),
    "chamber-pressure-filling": (0.0, 100.0),
    "water-drained": (420.0 * 0.88, 420.0 * 1.12),
    "mean-flow": (4.0, 5.5),
    "plunger-dip": (0.060, 0.200),
    "fill-current-from-bench": (0.37, 0.45),
    "flow-from-bench": (4.0, 5.5),
    "second-fill-time": (75.0, 112.0),
    "mains-under-load": (218.0, 240.0),
    "heater-current": (6.0, 6.9),
    "heater-power-at-rated": (1420.0, 1545.0),
    "heat-rise": (10.3, 13.0),
}


@pytest.mark.parametrize("first", range(0, 300, 25))
def test_every_reading_has_room(first: int) -> None:
    for seed in range(first, first + 25):
        walk = Walk(Plant(seed=seed))
        got = walk.inspect()
        wrong = {step: got[step] for step, (least, most) in ROOM.items() if not least <= got[step] <= most}
        assert not wrong, f"seed {seed}: {wrong}"
        assert got["level-relay"] == 1.0
        assert walk.plant.abuses == []


def test_the_hand_answers_are_a_healthy_units() -> None:
    for seed in range(50):
        walk = Walk(Plant(seed=seed))
        for thing in (
            "decontamination-statement",
            "untouched",
            "rating-plate",
            "reservoir",
            "rested-before-start",
        ):
            assert walk.ask(thing, "yes-no") is True
        assert walk.ask("stop-findings", "yes-no") is True
        assert 0.0 <= walk.number("tilt-at-owner", "mm/m") <= 4.0
        assert 6.0 <= walk.number("water-conductivity", "uS/cm") <= 25.0
        assert 0.04 <= walk.number("earth-bond", "Ohm") <= 0.15
        assert 10.0 <= walk.number("insulation", "MOhm") <= 200.0


def test_units_differ_and_a_seed_repeats() -> None:
    readings = [Walk(Plant(seed=seed)).inspect() for seed in (1, 2, 1)]
    assert readings[0] == readings[2]
    for step in LIMITS:
        assert readings[0][step] != readings[1][step] or step == "water-drained", step


def test_it_reaches_134_and_holds_on_the_steam_line() -> None:
    walk = Walk(Plant(seed=4))
    walk.fill("fill-time", keep_power=True)
    walk.coil(1, True)
    hottest, began = -inf, walk.plant.now
    while walk.plant.quantity(0) < 133.5:
        walk.wait(5.0)
        assert walk.plant.now - began < 1200.0
    reached = walk.plant.now - began
    for _ in range(40):
        walk.wait(5.0)
        hottest = max(hottest, walk.plant.quantity(0))
        assert 295e3 < walk.plant.quantity(4) < 330e3
    assert 9.0 * 60 < reached < 14.0 * 60
    assert 134.0 < hottest < 136.5
    assert 0.030 < walk.plant.unit.steam_lost < 0.070  # what an open vent costs before it shuts
