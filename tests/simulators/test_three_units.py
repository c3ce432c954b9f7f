"""The three profiles: what their fill valves show on each test point, their ports, their healthy readings."""

from math import inf, isnan

import pytest
from walk import MAINS, OHMS, TO_BENCH, VOLTS, Walk

from simulators.plant import Plant

AC24, AIR_DUMP, SUB_47K, SUB_1M, LIFT, AIR_SUPPLY = 7, 10, 11, 12, 13, 14
UNITS = ("demo-18-ac", "demo-18-dc", "demo-24-dc")


def filling(unit: str, seed: int = 1, **faults: float) -> Walk:
    """The unit's board has been filling for some seconds."""
    walk = Walk(Plant(unit, seed, {name.replace("_", "-"): severity for name, severity in faults.items()}))
    walk.ask("door-shut")
    walk.coil(MAINS, True)
    walk.wait(5.0)
    walk.ask("start-button")
    walk.wait(12.0)
    return walk


def amps(walk: Walk, function: str) -> float:
    return walk.meter(VOLTS, 4, function) / 0.1


@pytest.mark.parametrize("unit", UNITS)
def test_a_healthy_unit_fills_and_heats(unit: str) -> None:
    for seed in range(3):
        walk = Walk(Plant(unit, seed))
        got = walk.inspect()
        fill = {"demo-18-ac": 430.0, "demo-18-dc": 420.0, "demo-24-dc": 590.0}[unit]
        watts = {"demo-18-ac": 1500.0, "demo-18-dc": 1500.0, "demo-24-dc": 1900.0}[unit]
        assert 60.0 < got["fill-time"] < 125.0
        assert got["water-drained"] == pytest.approx(fill, rel=0.08)
        assert got["heater-power-at-rated"] == pytest.approx(watts, rel=0.05)
        assert 9.0 < got["heat-rise"] < 14.0
        assert walk.plant.abuses == []


# AC volts and DC volts at the plug, AC and DC amps in the lead, each from least to most.
AT_THE_PLUG = {
    "demo-18-ac": ((23.0, 26.0), (-0.01, 0.01), (0.38, 0.47), (-0.01, 0.01)),
    "demo-18-dc": ((11.0, 13.0), (22.0, 25.0), (0.02, 0.05), (0.37, 0.43)),
    "demo-24-dc": ((23.5, 26.5), (-0.01, 0.01), (0.37, 0.45), (-0.01, 0.01)),
}


@pytest.mark.parametrize("unit", UNITS)
def test_what_stands_at_the_plug_while_the_board_fills(unit: str) -> None:
    for seed in (1, 2, 5):
        walk = filling(unit, seed)
        got = [walk.meter(VOLTS, 0, f) for f in ("volts-ac", "volts-dc")]
        got += [amps(walk, f) for f in ("volts-ac", "volts-dc")]
        for value, (least, most) in zip(got, AT_THE_PLUG[unit], strict=True):
            assert least <= value <= most, got


def test_ohms_and_junctions_of_the_three_valves() -> None:
    def dead(unit: str, **faults: float) -> tuple[float, float]:
        walk = Walk(Plant(unit, 3, {name.replace("_", "-"): severity for name, severity in faults.items()}))
        walk.coil(TO_BENCH, True)
        return walk.meter(OHMS, 8, "ohms-4w"), walk.meter(OHMS, 13, "diode")

    ohms, volts = dead("demo-18-ac")
    assert 10.0 < ohms < 14.0 and volts < 0.05
    ohms, volts = dead("demo-18-dc")
    assert 50.0 < ohms < 66.0 and 0.9 < volts < 1.5
    ohms, volts = dead("demo-24-dc")
    assert ohms == inf and 1.0 < volts < 1.5
    assert dead("demo-24-dc", coil_open=1.0) == (inf, inf)
    assert dead("demo-18-dc", rectifier_open=1.0)[1] == inf


@pytest.mark.parametrize("unit", ["demo-18-dc", "demo-24-dc"])
def test_one_lost_diode_leaves_half_and_no_water(unit: str) -> None:
    """About half the mean current, its AC part up several times; on a lead with AC a DC part appears."""
    walk = filling(unit, 2, rectifier_open=1.0)
    mean, ripple = abs(amps(walk, "volts-dc")), amps(walk, "volts-ac")
    if unit == "demo-18-dc":
        assert 0.15 < mean < 0.24
        assert 0.06 < ripple < 0.12
    else:
        assert 0.08 < mean < 0.16
        assert abs(walk.meter(VOLTS, 0, "volts-dc")) > 0.05
    walk.wait(190.0)
    assert walk.plant.unit.board.fault == "no water level"


def test_a_moulded_rectifier_that_lost_one_half_wave_may_pass_the_dc_test() -> None:
    """DC and the diode function try one direction; only AC from the bench tries both."""
    found = set()
    for seed in range(12):
        walk = Walk(Plant("demo-24-dc", seed, {"rectifier-open": 1.0}))
        for channel in (TO_BENCH, 6, 3):
            walk.coil(channel, True)
        walk.wait(0.5)
        on_dc = amps(walk, "volts-dc")
        for channel, on in ((3, False), (6, False), (AC24, True), (3, True)):
            walk.coil(channel, on)
        walk.wait(0.5)
        assert abs(amps(walk, "volts-dc")) > 0.08, "half waves have a mean"
        for channel in (3, AC24):
            walk.coil(channel, False)
        assert (walk.meter(OHMS, 13, "diode") == inf) is (on_dc < 0.01)
        found.add(on_dc > 0.3)
    assert found == {True, False}


@pytest.mark.parametrize(("fault", "holding"), [(None, 0.42), ("plunger-stuck", 0.86)])
def test_inrush_falls_to_holding_unless_the_plunger_sticks(fault: str | None, holding: float) -> None:
    """24 V 50 Hz, 10 VA: 0.86 A with the gap open, 0.42 A pulled in (common magnitudes, no source)."""
    walk = Walk(Plant("demo-18-ac", 4, {fault: 1.0} if fault else {}))
    for channel in (TO_BENCH, AC24, VOLTS):
        walk.coil(channel, True)
    walk.coil(4, True, board=4)
    began = walk.plant.now
    walk.plant.set_coil(1, 3, True)
    walk.wait(0.6)
    wave = [volts / 0.1 for volts in walk.plant.meter_waveform(began, 1e-4, 5500)]
    on = next(k for k, value in enumerate(wave) if value != 0.0)
    rms = (sum(value * value for value in wave[-2000:]) / 2000) ** 0.5
    assert rms == pytest.approx(holding, rel=0.06)
    assert max(map(abs, wave[on : on + 200])) > 0.75, "the inrush, whatever the plunger does"
    assert rms == pytest.approx(walk.plant.meter_sees("volts-ac") / 0.1, rel=0.03)
    crossings = [k for k in range(3000, 5499) if wave[k] <= 0.0 < wave[k + 1]]
    period = (crossings[-1] - crossings[0]) / (len(crossings) - 1) * 1e-4
    assert period == pytest.approx(0.020, rel=0.01)
    assert (walk.plant.unit.valve.opening > 0.99) is (fault is None)


def test_a_stuck_ac_plunger_burns_several_times_the_copper_loss() -> None:
    losses = []
    for fault in ({}, {"plunger-stuck": 1.0}):
        walk = filling("demo-18-ac", 3, **{name.replace("-", "_"): value for name, value in fault.items()})
        losses.append(walk.plant.unit.valve.amps**2 * walk.plant.unit.valve.ohms)
    assert 1.8 < losses[0] < 2.8
    assert losses[1] / losses[0] == pytest.approx(4.2, rel=0.2)


def test_the_condensing_coil_is_not_on_the_way_of_a_fill_with_its_own_port() -> None:
    healthy = Walk(Plant("demo-18-ac", 2))
    healthy.fill("fill-time")
    tight = Walk(Plant("demo-18-ac", 2))
    tight.plant.unit.defects.coil_bore = 0.0005
    tight.plant.unit._take_over()
    tight.fill("fill-time")
    assert tight.got["fill-time"] == healthy.got["fill-time"]
    both = Walk(Plant("demo-18-dc", 2, {"condenser-narrowed": 1.0}))
    both.fill("fill-time")
    assert isnan(both.got["fill-time"])


# ---- the fixture's level substitutes, air, and display ----------------------------------------------------


def test_substitute_resistors_show_what_board_and_reference_do() -> None:
    walk = Walk(Plant(seed=3))
    assert walk.meter(OHMS, 15, "ohms-2w") > 2e6
    walk.coil(SUB_47K, True)
    assert walk.plant.inputs()[11]
    assert 44e3 < walk.meter(OHMS, 15, "ohms-2w") < 48e3
    walk.coil(SUB_47K, False)
    walk.coil(SUB_1M, True)
    walk.coil(LIFT, True)
    assert walk.plant.inputs()[14]
    assert 0.98e6 < walk.meter(OHMS, 15, "ohms-2w") < 1.02e6
    walk.coil(MAINS, True)
    walk.wait(5.0)
    assert walk.ask("level-shown", "yes-no", verb="look") is False
    walk.coil(SUB_47K, True)
    walk.wait(5.0)
    assert walk.ask("level-shown", "yes-no", verb="look") is True
    walk.coil(1, True)  # the heater's contact takes the resistors away by wire
    assert not walk.plant.inputs()[11]
    walk.wait(5.0)
    assert walk.ask("level-shown", "yes-no", verb="look") is False


@pytest.mark.parametrize("fault", ["board-level-input-dead", "ground-open"])
def test_a_resistor_in_place_of_water_does_not_help_a_dead_input(fault: str) -> None:
    walk = Walk(Plant(seed=3, faults={fault: 1.0}))
    walk.coil(SUB_47K, True)
    walk.coil(MAINS, True)
    walk.wait(8.0)
    assert walk.ask("level-shown", "yes-no", verb="look") is False
    assert walk.plant.inputs()[16], "the bench senses at the wall"


def test_air_to_50_kpa_and_out_again() -> None:
    walk = Walk(Plant(seed=3))
    walk.ask("door-shut")
    assert walk.plant.inputs()[21]
    walk.ask("vent-plugged")
    walk.coil(AIR_DUMP, True)
    walk.coil(AIR_SUPPLY, True)
    assert walk.plant.inputs()[10] and walk.plant.inputs()[19]
    walk.wait(60.0)
    ambient = walk.plant.unit.model.place.pressure
    assert walk.plant.quantity(4) - ambient == pytest.approx(50e3, rel=0.01)
    walk.coil(AIR_SUPPLY, False)
    walk.wait(600.0)
    assert walk.plant.quantity(4) - ambient > 49e3
    walk.coil(AIR_DUMP, False)
    walk.wait(30.0)
    assert walk.plant.quantity(4) - ambient < 500.0
    assert walk.plant.abuses == []


def test_air_before_the_door_is_locked_is_an_abuse() -> None:
    walk = Walk(Plant(seed=3))
    walk.coil(AIR_SUPPLY, True)
    assert walk.plant.abuses == ["compressed air with the door not locked"]


def test_the_temperature_sensor_follows_iec_60751() -> None:
    """138.51 Ohm at 100 Cel, 107.79 at 20 (IEC 60751, table 1)."""
    walk = Walk(Plant(seed=3))
    celsius = walk.plant.quantity(3)
    assert walk.meter(OHMS, 16, "ohms-4w") == pytest.approx(100.0 + 7.79 + 0.3886 * (celsius - 20.0), abs=0.02)


def test_the_drop_over_the_heaters_lead() -> None:
    drops = []
    for faults in ({}, {"hot-joint": 0.5}):
        walk = Walk(Plant(seed=1, faults=faults))
        walk.fill("fill-time", keep_power=True)
        walk.coil(1, True)
        walk.wait(5.0)
        drops.append(walk.meter(VOLTS, 3, "volts-ac"))
    assert 0.2 < drops[0] < 0.5
    assert drops[1] > 0.02 * 230.0


def test_a_switch_that_passes_one_half_wave_leaves_dc_at_the_heater() -> None:
    """Mean sqrt 2 / pi = 0.45 of the rms of the mains, AC part 0.545 of it (half waves, textbook)."""
    walk = Walk(Plant(seed=1, faults={"half-wave-switch": 1.0}))
    walk.fill("fill-time", keep_power=True)
    walk.coil(1, True)
    walk.wait(5.0)
    mains = walk.plant.quantity(7)
    assert walk.meter(VOLTS, 2, "volts-dc") == pytest.approx(0.450 * mains, rel=0.01)
    assert walk.meter(VOLTS, 2, "volts-ac") == pytest.approx(0.545 * mains, rel=0.01)
    healthy = Walk(Plant(seed=1))
    healthy.fill("fill-time", keep_power=True)
    healthy.coil(1, True)
    healthy.wait(5.0)
    assert abs(healthy.meter(VOLTS, 2, "volts-dc")) < 0.1
