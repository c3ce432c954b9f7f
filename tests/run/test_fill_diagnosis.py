"""Why a unit reports no water level: healthy units pass, each cause fails the steps that physics says, and every step
that is left out says why. On benches with instruments and on the bench of hands, on all three units."""

from __future__ import annotations

import pytest

from rig.events import OutputIntended, Prompted, RunRecord, StepEnded
from rig.limits import Verdict
from tests.conftest import bundled_plan, run

AC, DC, MOULDED = UNITS = ("demo-18-ac", "demo-18-dc", "demo-24-dc")
BENCHES = ("simulated", "simulated-rtu", "simulated-hand-meter")
BY_EAR = {"plunger-dip", "inrush-to-holding"}  # nobody records these by hand

TOO_LITTLE = {"as-found-time", "as-found-water", "second-time", "second-water"}
NONE = {*TOO_LITTLE, "some-arrived"}
TOO_MUCH = {*TOO_LITTLE, "not-too-much"}
SUPPLY = {"as-found-supply", "second-supply"}
CURRENT = {"as-found-current", "second-current"}
SLOW = {"bench-mass-rate", "no-filter-mass-rate"}
COIL = {"coil-resistance", "coil-resistance-at-20", "valve-current"}

# What fails with each cause at full severity. A unit in brackets: what differs there.
CAUSES: dict[str, set[str]] = {
    # the owner's site: the question tells, and the bench cures
    "reservoir-low": {"reservoir-as-found", "as-found-time", "as-found-water"},
    "water-too-pure": {"water-conductivity", "as-found-time", "as-found-water"},
    "not-level": {"tilt-at-owner"},
    "hot-restart": {"rested-before-start"},
    # too much water: the board did not see it
    "probe-coated": {*TOO_MUCH, "probe-wet"},
    "ground-open": {*TOO_MUCH, "chassis-reference-resistance", "level-47k-wet"},
    "board-level-input-dead": {*TOO_MUCH, "level-47k-wet"},
    # some water, and the chamber under pressure
    "vent-valve-shut": {*TOO_LITTLE, "as-found-pressure", "second-pressure", "vent-air-flow"},
    "bottle-vent-shut": {*TOO_LITTLE, "as-found-pressure", "second-pressure"},
    # slow though the valve is right
    "filter-choked": {*TOO_LITTLE, "bench-mass-rate", "filter-pour"},
    "fouled": {*TOO_LITTLE, "bench-mass-rate", "filter-pour", "seat-at-rest"},
    "line-narrowed": {*NONE, *SLOW},
    "condenser-narrowed": {*NONE, *SLOW, "coil-alone"},
    "weep-hole-blocked": {*NONE, *SLOW, "weep-pin"},
    # no water, and the valve is not right
    "coil-open": {*NONE, *CURRENT, *COIL, *BY_EAR},
    "coil-shorted": {*NONE, *COIL},
    "plunger-stuck": {*NONE, "plunger-dip", "bench-mass-rate"},
    # no water, and the valve is right when the bench feeds it
    "rectifier-open": {*NONE, *SUPPLY, *CURRENT, "rectifier-junctions", "dummy-supply"},
    "lead-high-ohm": {*NONE, *SUPPLY, *CURRENT, "fill-lead-resistance", "dummy-supply"},
    "board-output-dead": {*NONE, "dummy-supply"},
    # no cause of this complaint, and not sent out either
    "spring-weak": {"seat-at-rest"},
}
ELSEWHERE: dict[tuple[str, str], set[str]] = {
    ("coil-open", MOULDED): {*NONE, *CURRENT, *BY_EAR, "rectifier-junctions", "valve-current"},
    ("coil-shorted", MOULDED): {*NONE, "valve-current"},  # seen through junctions, no ohms
    ("rectifier-open", MOULDED): {*NONE, *CURRENT, "valve-current", "valve-current-one-way"},
    ("plunger-stuck", AC): {*NONE, *CURRENT, "inrush-to-holding", "valve-current"},  # twice the current
    ("lead-high-ohm", AC): {*NONE, *SUPPLY, "fill-lead-resistance", "dummy-supply"},
    ("vent-valve-shut", MOULDED): {*CAUSES["vent-valve-shut"], "time-without-bottle"},
}
# A unit that only one or two of the three can have.
ONLY = {
    "bottle-vent-shut": (MOULDED,),
    "rectifier-open": (DC, MOULDED),
    "condenser-narrowed": (DC, MOULDED),
    "weep-hole-blocked": (DC, MOULDED),
}
# By hand a collapsing supply is read for longer: the drive may have gone when the stop-watch is read, not before.
BY_HAND = {"coil-shorted": {*SUPPLY, *CURRENT}, "board-output-dead": {*SUPPLY, *CURRENT}}


def diagnosis(unit: str, bench: str, seed: int, **request: object) -> RunRecord:
    return run(bundled_plan("fill-diagnosis", unit, bench), seed=seed, **request)


def failed(record: RunRecord) -> set[str]:
    return {s.name for s in record.steps if s.verdict in (Verdict.FAIL, Verdict.CONDITIONAL_FAIL)}


def wanted(cause: str, unit: str, bench: str) -> set[str]:
    fails = ELSEWHERE.get((cause, unit), CAUSES[cause])
    if bench == "simulated-hand-meter":
        return (fails | BY_HAND.get(cause, set())) - BY_EAR | _not_told(cause, unit)
    signature = {"plunger-dip"} if unit == AC else {"inrush-to-holding"}
    return fails - signature


def _not_told(cause: str, unit: str) -> set[str]:
    """Without a record of the plunger, the water's way is tried as well."""
    return {"no-filter-mass-rate", "direct-mass-rate"} if cause == "plunger-stuck" and unit != AC else set()


def said(record: RunRecord) -> None:
    """Everything that was left out says why, and everything is off."""
    assert record.ended.all_off
    assert all(s.reason for s in record.steps if s.verdict is Verdict.NOT_RUN)
    assert not {s.verdict for s in record.steps} & {Verdict.STOPPED, Verdict.NO_READING, Verdict.NOT_EVALUATED}


@pytest.mark.parametrize("unit", UNITS)
@pytest.mark.parametrize("bench", BENCHES)
def test_a_healthy_unit_passes(unit: str, bench: str) -> None:
    record = diagnosis(unit, bench, seed=11)
    assert failed(record) == set()
    assert record.ended.verdict is Verdict.PASS
    said(record)
    left = {s.name for s in record.steps if s.verdict is Verdict.NOT_RUN}
    assert {"second-time", "probe-wet", "valve-current", "vent-air-flow", "dummy-supply"} <= left


ROUND = [
    (cause, ONLY.get(cause, UNITS)[n % len(ONLY.get(cause, UNITS))], "simulated-hand-meter")
    for n, cause in enumerate(CAUSES)
]
WITH_INSTRUMENTS = [
    ("probe-coated", AC, "simulated"), ("plunger-stuck", AC, "simulated"), ("coil-shorted", DC, "simulated"),
    ("weep-hole-blocked", DC, "simulated"), ("rectifier-open", MOULDED, "simulated"),
    ("bottle-vent-shut", MOULDED, "simulated"), ("lead-high-ohm", MOULDED, "simulated-rtu"),
]  # fmt: skip


@pytest.mark.parametrize(("cause", "unit", "bench"), [*ROUND, *WITH_INSTRUMENTS])
def test_a_cause_fails_the_steps_that_physics_says(cause: str, unit: str, bench: str) -> None:
    record = diagnosis(unit, bench, seed=3, faults=((cause, 1.0),))
    assert failed(record) == wanted(cause, unit, bench)
    assert record.ended.verdict is Verdict.FAIL
    said(record)


def test_the_fill_as_found_comes_before_anything_is_poured() -> None:
    events: list = []
    run(bundled_plan("fill-diagnosis", DC, "simulated-hand-meter"), events, seed=3, faults=(("fouled", 1.0),))
    first = next(n for n, e in enumerate(events) if isinstance(e, StepEnded) and e.result.name == "as-found-time")
    poured = [n for n, e in enumerate(events) if isinstance(e, Prompted) and e.verb == "pour"]
    fed = [n for n, e in enumerate(events) if isinstance(e, OutputIntended) and e.output == "fill-feed"]
    assert poured and fed
    assert first < min(poured + fed)


def test_the_heater_is_never_released_and_resistors_stand_for_water_only_without_it() -> None:
    events: list = []
    run(bundled_plan("fill-diagnosis", AC, "simulated"), events, seed=3, faults=(("ground-open", 1.0),))
    switched = {e.output for e in events if isinstance(e, OutputIntended)}
    assert {"level-sub-47k", "level-sub-1m", "level-lift"} <= switched
    assert "heater-enable" not in switched
