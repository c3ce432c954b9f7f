"""A whole cycle of the unit's own board: fill, heat, hold, exhaust, dry; water and heat kept; leaks; the display."""

from math import pi, sqrt

import pytest
from complaints import WET, cycle, leak_down, started, until
from walk import Walk

from simulators.plant import Plant
from simulators.unit.board import Doing
from simulators.unit.steam import saturation_pressure

UNITS = ("demo-18-ac", "demo-18-dc", "demo-24-dc")


@pytest.mark.parametrize("unit", UNITS)
def test_every_phase_comes_and_the_chamber_is_dry(unit: str) -> None:
    walk = started(Plant(unit, 5))
    whole = walk.plant.unit
    until(walk, (Doing.HOLDING,), 1500.0)
    walk.wait(120.0)
    assert abs(whole.sensors.celsius() - whole.reference.value) < 1.0
    assert abs(whole.sensors.pascal() - walk.plant.quantity(4)) < 3e3
    assert 133.5 < whole.reference.value < 137.0
    assert walk.plant.quantity(4) == pytest.approx(saturation_pressure(whole.heat.water), rel=0.01)
    until(walk, (Doing.EXHAUSTING,), 300.0)
    began = walk.plant.now
    while whole.gas.gauge > 10e3:
        walk.wait(1.0)
    assert 30.0 < walk.plant.now - began < 90.0
    until(walk, (Doing.DRYING,), 60.0)
    assert 0.02 < whole.stores.chamber < 0.08
    walk.wait(10.0)
    assert not walk.plant.inputs()[15] and not walk.plant.inputs()[21]
    assert walk.number("door-gap", "mm") == 8.0
    until(walk, (Doing.DONE,), 1000.0)
    assert whole.stores.chamber < 0.005
    assert walk.plant.abuses == []


@pytest.mark.parametrize(
    "faults", [{}, {"gasket-worn": 0.3, "valve-seat-passing": 0.3}, {"overload": 0.4}, {"loading": 1.0}]
)
@pytest.mark.parametrize("unit", UNITS)
def test_heat_and_water_balance_to_a_thousandth_over_a_cycle(unit: str, faults: dict[str, float]) -> None:
    plant = Plant(unit, 3, faults)
    heat, stores = plant.unit.heat, plant.unit.stores
    energy, water = heat.stored() - heat.ledger.carried, stores.balance()
    walk = started(plant)
    until(walk, (Doing.DONE,), 4000.0)
    walk.ask("chamber-water", "number", "g")
    walk.wait(60.0)
    ledger = heat.ledger
    assert ledger.heated > 5e5
    missing = heat.stored() - energy - ledger.heated + ledger.lost - ledger.carried
    assert abs(missing) < 1e-3 * ledger.heated
    assert abs(stores.balance() - water) < 1e-3 * 0.42


def test_at_121_it_holds_longer_and_cooler() -> None:
    walk = Walk(Plant(seed=2))
    walk.ask("program-121")
    walk.ask("door-shut")
    walk.coil(0, True)
    walk.wait(3.0)
    walk.ask("start-button")
    walk.coil(1, True)
    until(walk, (Doing.HOLDING,), 1500.0)
    began = walk.plant.now
    walk.wait(60.0)
    assert walk.number("temperature-shown", "Cel") == pytest.approx(121.6, abs=1.5)
    assert walk.number("pressure-shown", "kPa") == pytest.approx(208.0, abs=10.0)
    until(walk, (Doing.EXHAUSTING,), 1200.0)
    assert walk.plant.now - began == pytest.approx(900.0, abs=2.0)


@pytest.mark.parametrize(("fault", "shown"), [("temp-sensor-off", "temperature"), ("pressure-sensor-off", "pressure")])
def test_a_sensor_that_is_off_differs_from_the_reference_at_the_hold(fault: str, shown: str) -> None:
    walk = started(Plant(seed=4, faults={fault: 0.45}))
    until(walk, (Doing.HOLDING,), 1500.0)
    walk.wait(100.0)
    whole = walk.plant.unit
    if shown == "temperature":
        assert walk.number("temperature-shown", "Cel") - whole.reference.value > 1.0
    else:
        assert walk.plant.quantity(4) - 1e3 * walk.number("pressure-shown", "kPa") > 5e3


def lost_by_hand(hole: float, volume: float, ambient: float, celsius: float) -> float:
    """Pa lost in 10 min from 50 kPa above ambient: isothermal air in a volume, dP/dt = -m R T / V, with the
    compressible flow of an ideal gas through an orifice, m = Cd A p sqrt(2 k/(k-1) (r^(2/k) - r^((k+1)/k)) / (R T)),
    Cd 0.7 (textbook)."""
    gas, k, pressure = 287.05 * (celsius + 273.15), 1.4, ambient + 50e3
    for _ in range(600):
        r = ambient / pressure
        part = 2 * k / (k - 1) * (r ** (2 / k) - r ** ((k + 1) / k))
        mass = 0.7 * pi * hole * hole / 4 * pressure * sqrt(part / gas)
        pressure -= mass * gas / volume
    return ambient + 50e3 - pressure


@pytest.mark.parametrize("hole", [0.05e-3, 0.10e-3, 0.20e-3])
def test_a_hole_loses_pressure_as_worked_out_by_hand(hole: float) -> None:
    walk = Walk(Plant(seed=3))
    walk.ask("vent-plugged")
    walk.ask("door-shut")
    for channel in (10, 14):
        walk.coil(channel, True)
    walk.wait(60.0)
    walk.coil(14, False)
    whole = walk.plant.unit
    whole.defects.fitting_hole = hole
    before = walk.plant.quantity(4)
    walk.wait(600.0)
    hand = lost_by_hand(hole, whole.shape.volume, whole.model.place.pressure, whole.model.place.ambient)
    assert before - walk.plant.quantity(4) == pytest.approx(hand, rel=0.08)


def test_each_leak_is_cured_by_plugging_its_own_line_and_seen_at_its_own_place() -> None:
    cures = {"vent-valve-seat": "vent-plugged", "valve-seat-passing": "fill-line-plugged"}
    seen = {"door-misaligned": "door-tight", "fitting-leak": "fittings-tight", "gland-leak": "glands-tight"}
    for fault in (*cures, *seen, "gasket-worn", "spring-weak"):
        assert leak_down("demo-18-dc", 3, {fault: 0.7}) > 3e3, fault
    for fault, place in seen.items():
        walk = Walk(Plant(seed=3, faults={fault: 0.6}))
        walk.ask("vent-plugged")
        walk.ask("door-shut")
        for channel in (10, 14):
            walk.coil(channel, True)
        walk.wait(40.0)
        assert [walk.ask(one, "yes-no", verb="look") for one in seen.values()] == [
            one != place for one in seen.values()
        ]
    for fault, cure in cures.items():
        walk = Walk(Plant(seed=3, faults={fault: 0.7}))
        for thing in ("vent-held-shut", cure, "door-shut"):
            walk.ask(thing)
        for channel in (10, 14):
            walk.coil(channel, True)
        walk.wait(60.0)
        walk.coil(14, False)
        before = walk.plant.quantity(4)
        walk.wait(600.0)
        assert before - walk.plant.quantity(4) < 200.0, fault


def test_what_wets_a_load() -> None:
    """Each of these leaves water in a chamber that would be dry; the door that stays shut the most."""
    for fault in ("door-not-opening", "loading", "reservoir-overfull"):
        left, _ = cycle("demo-18-dc", 3, {fault: 1.0})
        assert left > 0.02, fault
        assert fault in WET


def test_opening_under_pressure_is_an_abuse_and_waiting_cools() -> None:
    walk = started(Plant(seed=3))
    until(walk, (Doing.HOLDING,), 1500.0)
    walk.coil(0, False)
    walk.ask("cool-down")
    assert walk.plant.quantity(0) < 40.0
    walk.ask("chamber-water", "number", "g")
    assert walk.plant.abuses == []
    walk = started(Plant(seed=3))
    until(walk, (Doing.HOLDING,), 1500.0)
    walk.ask("chamber-water", "number", "g")
    assert "door opened under pressure" in walk.plant.abuses


def test_the_display_says_what_it_is_at() -> None:
    walk = started(Plant(seed=3, faults={"coil-open": 1.0}))
    walk.wait(10.0)
    assert walk.plant.person("look", "state-shown", "text", [], "")[0] == "filling"
    walk.wait(200.0)
    assert walk.plant.person("look", "state-shown", "choice", ["done", "no water level"], "")[0] == "no water level"


def filled(walk: Walk) -> tuple[float, float, float]:
    """A start from the button: s of filling (the give-up where it never ends), kg after 20 s, highest Pa meanwhile."""
    board, stores = walk.plant.unit.board, walk.plant.unit.stores
    walk.ask("reservoir-to-mark")
    walk.ask("door-shut")
    walk.ask("start-button")
    until(walk, (Doing.FILLING,), 20.0)
    began, early, most = walk.plant.now, 0.0, 0.0
    while board.doing is Doing.FILLING:
        walk.wait(1.0)
        early = stores.chamber if walk.plant.now - began <= 20.0 else early
        most = max(most, walk.plant.unit.gas.gauge)
    return walk.plant.now - began, early, most


def test_a_start_soon_after_a_cycle_fills_against_steam_and_one_that_has_rested_does_not() -> None:
    walk = started(Plant(seed=3))
    until(walk, (Doing.DRYING,), 4000.0)
    walk.coil(0, False)  # the board forgets the dry phase
    walk.ask("chamber-water", "number", "g")
    walk.coil(0, True)
    walk.wait(5.0)
    assert walk.plant.unit.heat.metal > 95.0
    hot, early, most = filled(walk)
    walk.coil(0, False)
    walk.ask("cool-down")
    walk.ask("chamber-water", "number", "g")
    walk.coil(0, True)
    walk.wait(5.0)
    cold, later, least = filled(walk)
    assert hot > 1.2 * cold
    assert early < 0.2 * later
    assert most > 1e3 > 1e2 > least


def test_insulation_is_less_hot_and_the_same_again_cold() -> None:
    walk = started(Plant(seed=3))
    cold = walk.number("insulation", "MOhm")
    until(walk, (Doing.DRYING,), 4000.0)
    metal = walk.plant.unit.heat.metal
    hot = walk.number("insulation", "MOhm")
    assert hot == pytest.approx(cold * 0.5 ** ((metal - 25.0) / 30.0), rel=0.02)
    assert hot < 0.3 * cold
    walk.coil(0, False)
    walk.ask("cool-down")
    assert walk.number("insulation", "MOhm") > 0.75 * cold
