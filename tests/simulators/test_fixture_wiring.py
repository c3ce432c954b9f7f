"""Contacts, mirrors, the meter's path, and the abuses that are noted."""

from math import inf

import pytest
from walk import MAINS, OHMS, VOLTS, Walk

from simulators.plant import Plant, UnknownName

MIRRORS = {0: 0, 1: 1, 2: 2, 3: 3, 6: 6, 7: 7, 15: 8, 16: 9}


@pytest.mark.parametrize(("coil", "mirror"), MIRRORS.items())
def test_mirror_contacts_follow_their_coil_after_10_to_40_ms(coil: int, mirror: int) -> None:
    for offset in (0.0, 0.0071, 0.0199):
        plant = Plant()
        plant.advance(1.0 + offset)
        for on in (True, False):
            start = plant.now
            plant.set_coil(1, coil, on)
            assert plant.coils(1)[coil] is on
            plant.advance(start + 0.009)
            assert plant.inputs()[mirror] is not on
            plant.advance(start + 0.0401)
            assert plant.inputs()[mirror] is on
            plant.advance(plant.now + 0.5)


def test_wrong_numbers_are_refused() -> None:
    plant = Plant()
    with pytest.raises(UnknownName, match="relay board"):
        plant.set_coil(2, 0, True)
    with pytest.raises(UnknownName, match="relay channel"):
        plant.set_coil(1, 24, True)
    with pytest.raises(UnknownName, match="analog channel"):
        plant.quantity(12)
    with pytest.raises(UnknownName, match="ohms-4w"):
        plant.meter_sees("ohms-4v")


def test_inputs_at_rest() -> None:
    state = Plant().inputs()
    assert len(state) == 24
    assert [channel for channel, on in enumerate(state) if on] == [12]


def test_the_person_shuts_door_and_lid() -> None:
    walk = Walk(Plant())
    walk.ask("door-shut")
    assert walk.plant.inputs()[13]
    assert walk.plant.inputs()[15]
    walk.ask("jug-in-place")
    assert not walk.plant.inputs()[15]


# ---- the meter's path -------------------------------------------------------------------------------------


def test_reference_parts() -> None:
    walk = Walk(Plant(seed=3))
    assert walk.meter(OHMS, 17, "ohms-4w") == 0.0
    assert 99.9 <= walk.meter(OHMS, 18, "ohms-4w") <= 100.1
    assert 0.2 <= walk.meter(OHMS, 17, "ohms-2w") <= 0.6
    path = walk.meter(OHMS, 17, "ohms-2w")
    assert walk.meter(OHMS, 18, "ohms-2w") == pytest.approx(walk.meter(OHMS, 18, "ohms-4w") + path)


def test_no_path_no_reading() -> None:
    walk = Walk(Plant())
    assert walk.plant.meter_sees("ohms-4w") == inf
    assert walk.plant.meter_sees("volts-dc") == 0.0
    assert walk.meter(OHMS, 0, "ohms-4w") == inf  # a voltage point is not on the ohms bus
    assert walk.meter(OHMS, 3, "ohms-4w") == inf
    assert walk.meter(VOLTS, 18, "ohms-4w") == inf
    assert walk.meter(VOLTS, 18, "volts-dc") == 0.0
    assert walk.plant.meter_sees("amps-dc") == 0.0


def test_two_selectors_join_two_parts() -> None:
    walk = Walk(Plant())
    walk.coil(18, True, board=4)
    alone = walk.meter(OHMS, 18, "ohms-4w")
    walk.coil(18, True, board=4)
    both = walk.meter(OHMS, 8, "ohms-4w")
    assert both < 60.0 < alone


def test_coil_is_alone_only_behind_the_changeover() -> None:
    walk = Walk(Plant(seed=1))
    beside = walk.meter(OHMS, 8, "ohms-4w")
    walk.coil(2, True)
    assert walk.meter(OHMS, 8, "ohms-4w") > beside + 5.0


def test_heater_is_alone_only_with_its_leads_off() -> None:
    walk = Walk(Plant(seed=1))
    beside = walk.meter(OHMS, 9, "ohms-4w")
    walk.ask("break-out")
    alone = walk.meter(OHMS, 9, "ohms-4w")
    assert alone > beside + 1.0
    walk.ask("leads-back")
    assert walk.meter(OHMS, 9, "ohms-4w") == beside


def test_dry_probe_is_megohms_wet_probe_kilohms_and_creeps_on_dc() -> None:
    walk = Walk(Plant(seed=1))
    assert walk.meter(OHMS, 14, "ohms-2w") > 2e6
    walk.fill("fill-time", keep_power=True)
    walk.wait(5.0)  # the board fills on until it believes its probe
    walk.coil(MAINS, False)
    walk.coil(14, True, board=4)
    walk.coil(OHMS, True)
    early = walk.plant.meter_sees("ohms-2w")
    walk.wait(10.0)
    late = walk.plant.meter_sees("ohms-2w")
    assert 15e3 < early < late < 150e3
    assert 1.3 < late / early < 1.7


def test_bus_volts() -> None:
    walk = Walk(Plant(seed=1))
    assert walk.meter(VOLTS, 5, "volts-dc") == 0.0
    walk.coil(6, True)
    free = walk.meter(VOLTS, 5, "volts-dc")
    assert 23.9 < free < 24.3
    walk.coil(2, True)
    walk.coil(3, True)
    walk.wait(0.5)
    assert free - 0.2 < walk.meter(VOLTS, 5, "volts-dc") < free - 0.05


def test_heater_volts_and_frequency_only_under_power() -> None:
    walk = Walk(Plant(seed=1))
    assert walk.meter(VOLTS, 2, "volts-ac") < 1.0
    assert walk.meter(VOLTS, 2, "frequency") == 0.0
    walk.fill("fill-time", keep_power=True)
    walk.coil(1, True)
    walk.wait(5.0)
    assert 220.0 < walk.meter(VOLTS, 2, "volts-ac") < 235.0
    assert 49.9 < walk.meter(VOLTS, 2, "frequency") < 50.1
    assert walk.plant.quantity(9) > walk.plant.quantity(6) > 6.0


def test_mains_sags_under_the_heater() -> None:
    walk = Walk(Plant(seed=1))
    walk.fill("fill-time", keep_power=True)
    walk.wait(4.0)
    free = walk.plant.quantity(7)
    walk.coil(1, True)
    assert 1.4 < free - walk.plant.quantity(7) < 2.6


def test_waveform_rises_dips_and_settles() -> None:
    """A dip as of a free plunger (0.31 A at 7 ms to 0.20 A at 10.5 ms), 3 ms later for its solid core."""
    walk = Walk(Plant(seed=2))
    for channel in (2, 6, 16):
        walk.coil(channel, True)
    walk.coil(4, True, board=4)
    start = walk.plant.now
    walk.plant.set_coil(1, 3, True)
    walk.wait(1.0)
    wave = walk.plant.meter_waveform(start, 1e-4, 9000)
    on = next(k for k, volts in enumerate(wave) if volts > 0.0)
    assert 0.009 < on * 1e-4 < 0.041
    amps = [volts / 0.1 for volts in wave[on:]]
    peak = max(range(100), key=lambda k: amps[k] if amps[k + 1] < amps[k] else 0.0)
    least = min(range(peak, 200), key=lambda k: amps[k])
    assert 0.0080 < peak * 1e-4 < 0.0120
    assert 0.31 < amps[peak] < 0.38
    assert 0.0120 < least * 1e-4 < 0.0165
    assert 0.17 < amps[least] < 0.23
    assert amps[-1] == pytest.approx(walk.plant.meter_sees("volts-dc") / 0.1, rel=1e-4)
    assert 0.38 < amps[-1] < 0.44


# ---- what must never happen -------------------------------------------------------------------------------


def test_ohms_on_a_live_circuit() -> None:
    walk = Walk(Plant(seed=2))
    walk.ask("door-shut")
    honest = walk.meter(OHMS, 9, "ohms-4w")
    walk.coil(MAINS, True)
    assert walk.plant.abuses == []
    assert walk.meter(OHMS, 9, "ohms-4w") != pytest.approx(honest, rel=0.01)
    assert walk.plant.abuses == ["ohms on a live circuit: heater"]
    assert 99.9 < walk.meter(OHMS, 18, "ohms-4w") < 100.1  # the reference parts are never live
    assert len(walk.plant.abuses) == 1


def test_ohms_of_a_coil_that_the_bench_feeds() -> None:
    walk = Walk(Plant(seed=2))
    for channel in (2, 3):
        walk.coil(channel, True)
    walk.meter(OHMS, 8, "ohms-4w")
    assert walk.plant.abuses == []  # no source on the bus
    walk.coil(6, True)
    walk.meter(OHMS, 8, "ohms-4w")
    assert walk.plant.abuses == ["ohms on a live circuit: fill-coil"]


def test_both_sources_both_buses_and_an_open_lid() -> None:
    walk = Walk(Plant(seed=2))
    for channel in (6, 7, OHMS, VOLTS, MAINS):
        walk.coil(channel, True)
    assert walk.plant.abuses == ["both bus feeds", "both meter buses", "mains with the lid open"]


def test_dry_heater_runs_away_until_its_cut_out_opens() -> None:
    """A film that reads wet when dry: the board heats an empty chamber."""
    walk = Walk(Plant(seed=2))
    walk.plant.unit.defects.probe_film_ohm = 50e3
    walk.ask("door-shut")
    walk.coil(MAINS, True)
    walk.wait(3.0)
    walk.ask("start-button")
    walk.coil(1, True)
    walk.wait(14.0)
    assert "heater dry" in walk.plant.abuses
    assert walk.plant.unit.heat.element > 100.0
    walk.wait(60.0)
    assert walk.plant.unit.heat.tripped
    assert walk.plant.quantity(6) == 0.0
    walk.coil(MAINS, False)
    walk.coil(1, False)
    assert walk.meter(OHMS, 10, "ohms-4w") == inf


def test_emergency_stop_opens_mains_and_feed_by_wire() -> None:
    walk = Walk(Plant(seed=2))
    walk.ask("door-shut")
    for channel in (MAINS, 3):
        walk.coil(channel, True)
    walk.ask("emergency-stop", verb="press")
    state = walk.plant.inputs()
    assert (state[12], state[0], state[3]) == (False, False, False)
    assert walk.plant.coils(1)[MAINS]
    walk.ask("emergency-stop-reset")
    assert walk.plant.inputs()[12]
