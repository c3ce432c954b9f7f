"""The person's own work on the water's way: what it cures, what it leaves, what single parts show on the table."""

import pytest

from simulators.plant import Plant


def number(plant: Plant, thing: str, unit: str) -> float:
    value, seconds = plant.person("measure", thing, "number", [], unit)
    assert isinstance(value, float)
    assert seconds > 30.0
    return value


def flow_with_valve_open(plant: Plant) -> float:
    """mL/s into the chamber with the valve held open, 10 s after it opened."""
    for channel in (2, 6, 3):  # to the bench, DC source, feed
        plant.set_coil(1, channel, True)
    plant.advance(plant.now + 10.0)
    flow = 1e6 * plant.unit.fill.q
    for channel in (3, 6, 2):
        plant.set_coil(1, channel, False)
    plant.advance(plant.now + 1.0)
    return flow


def flows(fault: str | None, severity: float = 0.9) -> tuple[float, float, float]:
    """As it is, with the filter out, and fed from a can: one after the other, on one unit."""
    plant = Plant(seed=2, faults={fault: severity} if fault else {})
    found = [flow_with_valve_open(plant)]
    plant.person("move-lead", "filter-out", "done", [], "")
    found.append(flow_with_valve_open(plant))
    plant.person("move-lead", "filter-in", "done", [], "")
    plant.person("move-lead", "inlet-fed-direct", "done", [], "")
    found.append(flow_with_valve_open(plant))
    return found[0], found[1], found[2]


def test_each_bypass_cures_what_it_bypasses_and_nothing_else() -> None:
    healthy = flows(None)
    assert healthy[0] < healthy[1] < 1.2 * healthy[0]
    choked, out, can = flows("filter-choked")
    assert out > 0.9 * healthy[1] > 2 * choked
    assert can < 0.7 * healthy[2]
    for fault in ("line-narrowed", "condenser-narrowed", "weep-hole-blocked"):
        slow, out, can = flows(fault)
        assert out < 0.7 * healthy[1]
        assert can > 0.8 * healthy[2] > 1.2 * slow


def test_parts_on_the_table() -> None:
    healthy = Plant(seed=2)
    assert 5.0 < number(healthy, "filter-pour", "s") < 11.0
    assert number(healthy, "filter-pour", "min") == pytest.approx(number(healthy, "filter-pour", "s") / 60)
    assert number(healthy, "coil-alone", "mL/s") > 10.0
    assert number(healthy, "vent-air-flow", "L/min") > 4.0
    assert healthy.person("look", "weep-pin", "yes-no", [], "")[0] is True
    assert number(Plant(seed=2, faults={"filter-choked": 1.0}), "filter-pour", "s") > 60.0
    assert number(Plant(seed=2, faults={"condenser-narrowed": 1.0}), "coil-alone", "mL/s") < 1.0
    assert number(Plant(seed=2, faults={"vent-valve-shut": 1.0}), "vent-air-flow", "L/min") == 0.0
    assert Plant(faults={"weep-hole-blocked": 0.8}).person("look", "weep-pin", "yes-no", [], "")[0] is False


def test_filling_up_brings_the_workshops_water_and_keeps_the_balance() -> None:
    plant = Plant(seed=4, faults={"reservoir-low": 1.0, "water-too-pure": 1.0})
    before = plant.unit.stores.balance()
    assert number(plant, "water-conductivity", "uS/cm") < 1.0
    assert plant.person("look", "reservoir", "yes-no", [], "")[0] is False
    plant.person("pour", "reservoir-to-mark", "done", [], "")
    assert number(plant, "water-conductivity", "uS/cm") == 10.0
    assert plant.person("look", "reservoir", "yes-no", [], "")[0] is True
    assert not plant.unit.probe_wet
    plant.person("pour", "probe-covered", "done", [], "")
    assert plant.unit.probe_wet
    assert plant.unit.stores.balance() == pytest.approx(before, abs=1e-9)
