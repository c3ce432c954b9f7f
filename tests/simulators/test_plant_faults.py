"""Each fault, far enough gone, makes the readings wrong that its physics touches, and no other."""

from math import inf, isnan

import pytest
from walk import LIMITS, NEEDS_HEAT, Walk, failing

from simulators.plant import FAULTS, NotPossible, Plant, UnknownName

NO_FILL = {"fill-time", "mean-flow", "second-fill-time", *NEEDS_HEAT}  # without water there is no heat either
NO_WATER = NO_FILL | {"water-drained"}
FAILS: dict[str, set[str]] = {
    "filter-choked": NO_WATER | {"flow-from-bench"},
    "line-narrowed": NO_WATER | {"flow-from-bench"},
    "condenser-narrowed": NO_WATER | {"flow-from-bench"},
    "weep-hole-blocked": NO_WATER | {"flow-from-bench"},
    "reservoir-low": NO_WATER | {"flow-from-bench"},
    "vent-valve-shut": NO_WATER | {"chamber-pressure-filling"},
    "coil-open": NO_WATER
    | {
        "coil-resistance-at-20",
        "fill-current-from-board",
        "fill-current-from-bench",
        "plunger-dip",
        "flow-from-bench",
    },
    "plunger-stuck": NO_WATER | {"plunger-dip", "flow-from-bench"},
    "lead-high-ohm": NO_WATER | {"fill-lead-resistance", "fill-supply-loaded", "fill-current-from-board"},
    "rectifier-open": NO_WATER | {"fill-supply-loaded", "fill-current-from-board"},
    "probe-coated": NO_WATER,
    "water-too-pure": NO_WATER,
    "heater-open": {"heater-cold-resistance", "heater-current", "heater-power-at-rated", "heat-rise"},
    "one-element-open": {"heater-cold-resistance", "heater-current", "heater-power-at-rated", "heat-rise"},
}


@pytest.mark.parametrize("severity", [0.8, 1.0])
@pytest.mark.parametrize("name", sorted(FAILS))
def test_readings_that_fail(name: str, severity: float) -> None:
    for seed in (0, 7, 19):
        walk = Walk(Plant(seed=seed, faults={name: severity}))
        assert failing(walk.inspect()) == FAILS[name], (name, severity, seed)
        assert walk.plant.abuses == []


def gone(name: str, seed: int = 3) -> dict[str, float]:
    return Walk(Plant(seed=seed, faults={name: 1.0})).inspect()


def test_choked_filter_is_slow_and_electrically_sound() -> None:
    got = gone("filter-choked")
    assert isnan(got["fill-time"])
    assert 20.0 < got["water-drained"] < 120.0
    assert 0.05 < got["flow-from-bench"] < 1.0
    assert got["plunger-dip"] > 0.06


def test_open_coil_carries_nothing() -> None:
    got = gone("coil-open")
    assert got["coil-resistance"] == inf
    assert got["fill-current-from-board"] == got["fill-current-from-bench"] == got["plunger-dip"] == 0.0
    assert got["water-drained"] == 0.0
    assert got["fill-supply-loaded"] > 23.0


def test_stuck_plunger_takes_full_current_without_a_dip() -> None:
    got = gone("plunger-stuck")
    assert got["plunger-dip"] == 0.0
    assert got["fill-current-from-bench"] > 0.36
    assert got["water-drained"] == 0.0


def test_coated_probe_lets_the_water_run() -> None:
    got = gone("probe-coated")
    assert got["water-drained"] > 1.5 * 420.0
    assert got["level-relay"] == 1.0
    walk = Walk(Plant(seed=3, faults={"probe-coated": 1.0}))
    walk.fill("fill-time")
    assert walk.plant.inputs()[20]
    assert not walk.plant.inputs()[16]


def test_bad_lead_takes_nearly_half_of_the_supply() -> None:
    got = gone("lead-high-ohm")
    healthy = Walk(Plant(seed=3)).inspect()
    assert 47.0 < got["fill-lead-resistance"] < 49.0
    assert 0.52 < got["fill-supply-loaded"] / healthy["fill-supply-loaded"] < 0.58
    assert got["fill-current-from-board"] < 0.26
    assert got["plunger-dip"] > 0.06
    assert got["water-drained"] == 0.0


def test_open_heater_stays_cold() -> None:
    got = gone("heater-open")
    assert got["heater-cold-resistance"] == inf
    assert got["heater-current"] == 0.0
    assert isnan(got["heat-rise"])


def test_open_reference_joint_is_seen_by_the_board_not_by_the_bench() -> None:
    walk = Walk(Plant(seed=3, faults={"ground-open": 1.0}))
    walk.cold()
    assert walk.got["chassis-reference-resistance"] == inf
    walk.fill("fill-time", keep_power=True)
    assert walk.got["fill-time"] < 110.0  # the bench's own sense goes to the wall itself
    walk.wait(20.0)
    assert walk.plant.inputs()[17]  # and the board still fills


def test_dead_output_gives_no_drive_at_all() -> None:
    walk = Walk(Plant(seed=3, faults={"board-output-dead": 1.0}))
    walk.ask("door-shut")
    walk.coil(0, True)
    walk.ask("start-button")
    assert walk.until(17, True, 60.0) == inf


@pytest.mark.parametrize(
    ("name", "thing", "kind", "unit"),
    [
        ("reservoir-low", "reservoir", "yes-no", ""),
        ("hot-restart", "rested-before-start", "yes-no", ""),
        ("not-level", "tilt-at-owner", "number", "mm/m"),
        ("water-too-pure", "water-conductivity", "number", "uS/cm"),
    ],
)
def test_site_facts_show_in_the_answers(name: str, thing: str, kind: str, unit: str) -> None:
    answer, _ = Plant(seed=5, faults={name: 1.0}).person("look", thing, kind, [], unit)
    if kind == "yes-no":
        assert answer is False
    else:
        assert isinstance(answer, float)
        assert answer > 5.0 if name == "not-level" else answer < 3.0


ABOUT_HALF = sorted(set(FAULTS) & {*FAILS, "coil-shorted", "fouled", "ground-open", "board-level-input-dead"})


@pytest.mark.parametrize("name", [name for name in ABOUT_HALF if name not in ("heater-open", "one-element-open")])
def test_the_complaint_appears_about_half_way(name: str) -> None:
    """No water level at 0.6 in every unit, at 0.4 in few: the scale of severities means something."""
    assert sum(complains(name, 0.6, seed) for seed in range(6)) == 6
    assert sum(complains(name, 0.35, seed) for seed in range(6)) <= 1


def complains(name: str, severity: float, seed: int) -> bool:
    walk = Walk(Plant(seed=seed, faults={name: severity}))
    walk.ask("door-shut")
    walk.coil(0, True)
    walk.wait(3.0)
    walk.ask("start-button")
    walk.wait(200.0)
    return walk.plant.unit.board.fault == "no water level"


def test_a_fault_comes_and_goes_while_running() -> None:
    walk = Walk(Plant(seed=11))
    walk.fill("fill-time")
    healthy = walk.got["fill-time"]
    walk.drain()
    walk.plant.set_fault("coil-open", 1.0)
    walk.fill("fill-time")
    assert isnan(walk.got["fill-time"])
    walk.plant.set_fault("coil-open", 0.0)
    walk.fill("fill-time")
    assert walk.got["fill-time"] == pytest.approx(healthy, rel=0.1)


def test_a_fault_set_in_mid_fill_stops_the_water() -> None:
    walk = Walk(Plant(seed=11))
    walk.ask("door-shut")
    walk.coil(0, True)
    walk.wait(3.0)
    walk.ask("start-button")
    walk.wait(40.0)
    walk.plant.set_fault("coil-open", 1.0)
    walk.wait(1.0)
    before = walk.plant.unit.stores.chamber
    walk.wait(20.0)
    assert walk.plant.unit.stores.chamber == pytest.approx(before, abs=1e-6)


def test_two_faults_at_once() -> None:
    got = Walk(Plant(seed=2, faults={"lead-high-ohm": 1.0, "filter-choked": 1.0})).inspect()
    assert failing(got) == FAILS["lead-high-ohm"] | FAILS["filter-choked"]


def test_words_that_are_wrong() -> None:
    with pytest.raises(UnknownName, match=r"filter-chocked.*filter-choked"):
        Plant(faults={"filter-chocked": 1.0})
    with pytest.raises(UnknownName, match="demo-18-dc"):
        Plant(unit="demo-18-dcc")
    with pytest.raises(ValueError, match="severity"):
        Plant(faults={"coil-open": 1.5})


def test_a_fault_of_a_part_the_unit_lacks_is_refused() -> None:
    with pytest.raises(NotPossible, match="bottle"):
        Plant(faults={"bottle-vent-shut": 1.0})


def test_every_fault_can_be_told_to_a_person() -> None:
    for name, fault in FAULTS.items():
        assert fault.name == name
        assert fault.line
        assert "\n" not in fault.line
        assert fault.noticed
        assert fault.units
    assert set(FAILS) <= set(FAULTS)
    assert set(LIMITS) >= set().union(*FAILS.values())
