"""The plant's time: a state belongs to its time, not to who asked before; and no water is lost on the way."""

from collections.abc import Callable

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from simulators.plant import Plant

Event = tuple[float, Callable[[Plant], object]]


def snapshot(plant: Plant) -> list[object]:
    """Everything that can be read, and the state behind it, exactly."""
    unit = plant.unit
    return [
        plant.inputs(),
        [plant.quantity(k) for k in range(12)],
        [plant.meter_sees(f) for f in ("volts-dc", "volts-ac", "ohms-4w", "ohms-2w")],
        vars(unit.stores).copy(),
        (unit.heat.element, unit.heat.water, unit.heat.metal, unit.valve.celsius, unit.valve.amps),
        (unit.gas.air, unit.gas.vapour, unit.gas.pressure, unit.depth, unit.circuits.wander),
        unit.board.doing,
        list(plant.abuses),
    ]


def coil(channel: int, on: bool, board: int = 1) -> Callable[[Plant], object]:
    return lambda plant: plant.set_coil(board, channel, on)


def person(thing: str) -> Callable[[Plant], object]:
    return lambda plant: plant.person("confirm", thing, "done", [], "")


SCENE: list[Event] = [
    (0.5, person("door-shut")),
    (1.013, coil(0, True)),
    (7.4, person("start-button")),
    (30.27, coil(16, True)),
    (30.29, coil(4, True, 4)),
    (60.005, lambda plant: plant.set_fault("filter-choked", 0.3)),
    (140.0, coil(1, True)),
    (500.3, coil(1, False)),
    (510.3, coil(0, False)),
    (2500.0, person("jug-in-place")),
    (2510.0, coil(2, True)),
    (2511.0, coil(6, True)),
    (2512.0, coil(3, True)),
    (2540.0, coil(3, False)),
]
END = 2600.0


def play(between: Callable[[Plant, float], None], end: float = END) -> list[object]:
    """Play the scene; `between` brings the plant from where it is to the next event's time."""
    plant = Plant(seed=6, faults={"spring-weak": 0.5})
    for when, does in SCENE:
        if when > end:
            break
        between(plant, when)
        does(plant)
    between(plant, end)
    return snapshot(plant)


def in_one(plant: Plant, when: float) -> None:
    plant.advance(when)


def every(seconds: float) -> Callable[[Plant, float], None]:
    def run(plant: Plant, when: float) -> None:
        k = int(plant.now / seconds) + 1
        while k * seconds < when:
            plant.advance(k * seconds)
            snapshot(plant)
            k += 1
        plant.advance(when)

    return run


@pytest.mark.parametrize("seconds", [0.1, 0.37, 1.0])
def test_polling_changes_nothing(seconds: float) -> None:
    assert play(every(seconds)) == play(in_one)


@settings(max_examples=15, deadline=None)
@given(st.lists(st.floats(0.0, 200.0), max_size=60), st.floats(20.0, 200.0))
def test_polling_at_any_times_changes_nothing(times: list[float], end: float) -> None:
    def between(plant: Plant, when: float) -> None:
        for one in sorted(times):
            if plant.now < one < when:
                plant.advance(one)
                snapshot(plant)
        plant.advance(when)

    assert play(between, end) == play(in_one, end)


def test_time_never_goes_back() -> None:
    plant = Plant()
    plant.advance(10.0)
    before = snapshot(plant)
    plant.advance(3.0)
    assert plant.now == 10.0
    assert snapshot(plant) == before


def test_physics_seconds_counts_the_work_of_advance() -> None:
    plant = Plant()
    assert plant.physics_seconds == 0.0
    plant.advance(100.0)
    assert plant.physics_seconds > 0.0


def test_water_is_conserved() -> None:
    """Reservoir, coil, chamber, steam, jug and what was poured away: constant to 0.1 % of a fill."""
    plant = Plant(seed=8)
    first = plant.unit.stores.balance()
    for when, does in SCENE:
        plant.advance(when)
        does(plant)
        assert plant.unit.stores.balance() == pytest.approx(first, abs=0.001 * 0.42)
        assert min(vars(plant.unit.stores)[one] for one in ("reservoir", "coil", "chamber", "steam", "jug")) >= 0.0
    assert plant.unit.steam_lost > 0.0


@pytest.mark.parametrize(
    "name", ["vent-valve-open", "gasket-worn", "weep-hole-blocked", "reservoir-low", "spring-weak"]
)
def test_water_is_conserved_with_faults_that_move_it(name: str) -> None:
    plant = Plant(seed=9, faults={name: 1.0})
    first = plant.unit.stores.balance()
    for when, does in SCENE:
        plant.advance(when)
        does(plant)
    plant.set_fault(name, 0.0)
    plant.advance(END)
    assert plant.unit.stores.balance() == pytest.approx(first, abs=1e-9)


def test_hot_water_under_an_open_door_does_not_vanish() -> None:
    plant = Plant(seed=8)
    for when, does in SCENE[:9]:
        plant.advance(when)
        does(plant)
    assert plant.quantity(0) > 85.0
    first, held = plant.unit.stores.balance(), plant.unit.stores.chamber
    plant.unit.door_shut = False
    plant.advance(plant.now + 60.0)
    assert held - 0.02 < plant.unit.stores.chamber <= held
    warm = plant.unit.heat.water
    person("door-shut")(plant)
    plant.advance(plant.now + 2.0)
    assert plant.unit.heat.water < warm - 2.0  # filling the fresh chamber with steam took heat
    assert plant.unit.stores.balance() == pytest.approx(first, abs=1e-9)


def test_the_probe_settles_within_a_second_of_its_first_contact() -> None:
    """Waves make the first contact bounce, but the fill time must not be a matter of chance by seconds."""
    bounced = 0
    for seed in range(12):
        plant = Plant(seed=seed)
        person("door-shut")(plant)
        plant.set_coil(1, 0, True)
        plant.advance(3.0)
        person("start-button")(plant)
        seen: list[tuple[float, bool]] = []
        while not seen or plant.now < seen[0][0] + 3.0:
            plant.advance(plant.now + 0.02)
            wet = plant.inputs()[16]
            if wet or seen:
                seen.append((plant.now, wet))
            assert plant.now < 150.0
        last_dry = max((when for when, wet in seen if not wet), default=seen[0][0])
        assert last_dry - seen[0][0] < 1.0
        bounced += last_dry > seen[0][0]
    assert bounced > 0
