"""The self-check of a bench: its reference parts are read as any part is, a timed contact by the inputs of fills."""

from __future__ import annotations

import pytest

from rig.events import RunRecord
from rig.limits import Verdict
from rig.plan.load import bundled, load_named
from rig.plan.plan import make_plan
from simulators import reference
from simulators.fixture import RELAYS, TIME_RELAY
from simulators.plant import TICK, Plant
from tests.conftest import by_name, run

MIRROR, CONTACT = 22, 23


def checked(bench: str = "simulated", **request: object) -> RunRecord:
    plan = make_plan(load_named("procedure", "bench-self-check"), None, load_named("bench", bench))
    return run(plan, **request)


def seconds_of(seed: int) -> float:
    """From the time relay's contact that follows its coil to the one that is late, as it stands in the fixture."""
    plant, at = Plant(seed=seed), {MIRROR: 0.0, CONTACT: 0.0}
    plant.set_coil(RELAYS, TIME_RELAY, True)
    for tick in range(1, 1600):
        plant.advance(tick * TICK)
        for channel in [c for c, when in at.items() if not when and plant.inputs()[c]]:
            at[channel] = plant.now
    plant.set_coil(RELAYS, TIME_RELAY, False)
    plant.advance(plant.now + 0.1)
    assert not plant.inputs()[CONTACT], "it opens with its coil"
    return at[CONTACT] - at[MIRROR]


@pytest.mark.parametrize("seed", range(5))
def test_the_timed_contact_is_timed_rightly(seed: int) -> None:
    true = seconds_of(seed)
    assert true == pytest.approx(30.0, abs=0.041)
    step = by_name(checked(seed=seed))["half-minute"]
    assert step.verdict is Verdict.PASS
    assert step.bracket is not None
    reading = step.reading
    assert reading is not None
    assert abs(reading.value - true) <= 3.0**0.5 * reading.u  # all of it rectangular: it cannot lie outside


def test_the_offset_of_the_fixture_is_taken_off_by_name() -> None:
    steps = by_name(checked(seed=3))
    short, whole, zeroed = (steps[name].reading for name in ("short", "hundred-ohm", "hundred-ohm-zeroed"))
    assert short is not None
    assert whole is not None
    assert zeroed is not None
    assert zeroed.value == pytest.approx(whole.value - short.value)
    (made,) = zeroed.corrections
    assert (made.name, made.before, made.after) == ("zeroed", whole.value, zeroed.value)


@pytest.mark.parametrize("bench", bundled("bench"))
def test_every_simulated_bench_passes(bench: str) -> None:
    wiring = load_named("bench", bench)
    if wiring.model.simulated:  # type: ignore[attr-defined]
        assert checked(bench, seed=4).ended.verdict is Verdict.PASS


@pytest.mark.parametrize(("ticks", "verdict"), [(1530, Verdict.FAIL), (1470, Verdict.FAIL), (3000, Verdict.FAIL)])
def test_a_bench_that_times_wrongly_is_not_passed(
    ticks: int, verdict: Verdict, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What a clock or an input that is off looks like: the known time comes out as another one, or never ends."""
    monkeypatch.setattr(reference, "NOMINAL", ticks)
    record = checked()
    assert by_name(record)["half-minute"].verdict is verdict
    assert {step.name for step in record.steps if not step.verdict.good} == {"half-minute"}


def test_inputs_that_stand_still_are_no_reading() -> None:
    record = checked(wire_faults=(("all-zero", "inputs-1", None),))
    assert record.ended.verdict is not Verdict.PASS
    assert not by_name(record)["half-minute"].verdict.good
