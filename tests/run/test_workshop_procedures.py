"""The workshop's procedures on healthy units, and what the final inspection finds that no other does."""

from __future__ import annotations

from functools import cache

import pytest

from rig.events import OutputConfirmed, RunRecord, StepResult
from rig.limits import Verdict
from rig.plan.load import load_named
from rig.plan.proof import prove
from tests.conftest import bundled_plan, by_name, run

AC, DC, MOULDED = UNITS = ("demo-18-ac", "demo-18-dc", "demo-24-dc")
PROCEDURES = ("electrical-safety", "heat-up-and-hold", "leak-down", "drain-and-dry", "final-inspection")


@cache
def inspected(procedure: str, unit: str, *faults: tuple[str, float], seed: int = 3) -> RunRecord:
    return run(bundled_plan(procedure, unit), seed=seed, faults=faults)


def failed(record: RunRecord) -> set[str]:
    return {s.name for s in record.steps if s.verdict in (Verdict.FAIL, Verdict.CONDITIONAL_FAIL)}


def worked(record: RunRecord) -> list[StepResult]:
    """All steps but those of a search for what a healthy unit does not have."""
    return [s for s in record.steps if not (s.reason or "").startswith("only when ")]


@pytest.mark.parametrize("unit", UNITS)
@pytest.mark.parametrize("procedure", PROCEDURES)
@pytest.mark.parametrize("bench", ("simulated", "simulated-rtu", "hand-meter", "simulated-hand-meter"))
def test_every_procedure_is_proved_with_every_unit(procedure: str, unit: str, bench: str) -> None:
    files = (load_named("procedure", procedure), load_named("unit-profile", unit), load_named("bench", bench))
    assert prove(*files) == []


@pytest.mark.parametrize(
    ("procedure", "unit"),
    [
        ("electrical-safety", DC),
        ("leak-down", AC),
        ("heat-up-and-hold", MOULDED),
        ("final-inspection", DC),
    ],
)
def test_a_healthy_unit_passes_every_step(procedure: str, unit: str) -> None:
    record = inspected(procedure, unit)
    assert {s.name: s.verdict for s in worked(record) if s.verdict is not Verdict.PASS} == {}
    assert record.ended.verdict is Verdict.PASS
    assert record.ended.all_off


# What no hand can record, and what is worked out from it.
BY_RECORD = {"hold-temperature", "hold-pressure", "off-saturation", "hold-lowest", "hold-highest", "lethality"}


@pytest.mark.parametrize("procedure", ("leak-down", "final-inspection"))
def test_a_healthy_unit_passes_whatever_hands_can_read(procedure: str) -> None:
    record = run(bundled_plan(procedure, DC, "simulated-hand-meter"), seed=3)
    assert {s.name for s in worked(record) if s.verdict is not Verdict.PASS} <= BY_RECORD
    assert record.ended.verdict is Verdict.PASS
    assert record.ended.all_off


# What each kind of fill valve is tried by, and the ports of a unit.
VARIANTS = {
    AC: ({"coil-resistance", "inrush-to-holding"}, {"rectifier-junctions", "plunger-dip", "coil-and-weep-hole"}),
    DC: ({"coil-resistance", "rectifier-junctions", "plunger-dip"}, {"inrush-to-holding", "ac-source"}),
    MOULDED: ({"rectifier-junctions", "plunger-dip", "ac-source"}, {"coil-resistance", "inrush-to-holding"}),
}


@pytest.mark.parametrize("unit", UNITS)
@pytest.mark.parametrize("procedure", ("incoming-inspection", "fill-diagnosis"))
def test_each_valve_and_each_layout_has_its_own_steps(procedure: str, unit: str) -> None:
    stages = bundled_plan(procedure, unit).procedure.stages
    names = {s.stage for s in stages} | {step.step for s in stages for step in s.all_steps()}
    has, lacks = VARIANTS[unit]
    assert has <= names
    assert not lacks & names
    if procedure == "fill-diagnosis":
        assert ("fill-without-bottle" in names) is (unit == MOULDED)
        assert ("coil-and-weep-hole" in names) is (unit != AC)


@pytest.mark.parametrize("unit", (AC, MOULDED))
def test_the_incoming_inspection_passes_a_healthy_unit_by_hand(unit: str) -> None:
    record = run(bundled_plan("incoming-inspection", unit, "simulated-hand-meter"), seed=3)
    assert record.ended.verdict is Verdict.PASS
    assert record.ended.all_off


def test_the_final_inspection_takes_its_time_and_its_readings_agree_with_steam() -> None:
    record = inspected("final-inspection", DC)
    assert record.ended.seconds >= 40 * 60
    steps = by_name(record)

    def value(name: str) -> float:
        reading = steps[name].reading
        assert reading is not None
        return float(reading.value)

    # 4 minutes at 134 Cel count 10^((134 - 121.1)/10) = 19.5 times as many at 121.1 Cel (the definition of F0, z 10 K)
    expected = value("hold-time") * 10 ** ((value("hold-temperature") - 121.1) / 10)
    assert value("lethality") == pytest.approx(expected, rel=0.15)
    assert abs(value("off-saturation")) < 0.7
    assert value("pressure-lost") == pytest.approx(0.0, abs=300.0)


# What only air, ten quiet minutes or the hot heater show; each at less than complete failure.
FOUND = [
    ("leak-down", "gasket-worn", 0.8, AC, {"leak-pressure-first"}),
    ("leak-down", "fitting-leak", 0.5, MOULDED, {"pressure-lost", "leak-flow"}),
    ("leak-down", "gland-leak", 0.7, DC, {"leak-pressure-first", "glands-tight"}),
    ("leak-down", "relief-weeping", 0.8, DC, {"leak-pressure-first", "relief-tight"}),
    ("leak-down", "vent-valve-seat", 0.7, DC, {"leak-pressure-first", "fill-line-pressure-first"}),
    ("leak-down", "valve-seat-passing", 0.7, DC, {"leak-pressure-first", "vent-line-pressure-first"}),
    ("final-inspection", "one-element-open", 0.8, DC, {"heater-current"}),
]


@pytest.mark.parametrize(("procedure", "fault", "severity", "unit", "steps"), FOUND)
def test_a_fault_that_travels_with_the_unit_is_found(
    procedure: str, fault: str, severity: float, unit: str, steps: set[str]
) -> None:
    record = inspected(procedure, unit, (fault, severity))
    assert steps <= failed(record), (record.ended, record.steps[-1])
    assert record.ended.verdict is not Verdict.PASS
    assert record.ended.all_off


def test_air_that_has_run_out_is_not_timed() -> None:
    steps = by_name(inspected("leak-down", AC, ("gasket-worn", 0.8)))
    assert steps["door-tight"].verdict is Verdict.FAIL  # and the search for the leak follows
    later = ("leak-time", "leak-pressure-last", "leak-temperature-last", "pressure-lost", "leak-flow")
    assert {name: steps[name].verdict for name in later} == dict.fromkeys(later, Verdict.NOT_RUN)
    assert all(steps[name].reason == "needs leak-pressure-first, which was: fail" for name in later)
    assert steps["no-pressure"].verdict is Verdict.PASS


def test_bench_air_is_dumped_before_anybody_is_asked_to_open_the_door() -> None:
    events: list = []
    run(bundled_plan("leak-down", AC), events, seed=3)
    switched = [(e.output, e.on) for e in events if isinstance(e, OutputConfirmed)]
    assert switched.index(("air-supply", False)) < switched.index(("air-dump", False))
    assert ("mains", True) not in switched
