"""Readings by hand on a bench of instruments: asked for, kept with name, instrument and uncertainty, judged alike."""

from __future__ import annotations

import math
from datetime import date

import pytest

from rig.errors import InputError, Stopped
from rig.events import Answered, OutputConfirmed, Prompted, StepResult, run_dict
from rig.limits import Verdict
from rig.plan.procedure import Measure
from rig.records.codec import normal_record
from rig.run.hand_lines import lines_of
from rig.run.prompts import prompts_of
from rig.run.typed import typed
from tests.conftest import bundled_plan, by_name, inspection, run

ELECTRICAL = ("coil-resistance", "fill-supply-loaded", "fill-current-from-bench", "heater-current")


def value(step: StepResult) -> float:
    assert step.reading is not None
    return float(step.reading.value)


@pytest.mark.parametrize("seed", (1, 4))
def test_readings_by_hand_agree_with_the_instruments(seed: int) -> None:
    """Both look at one unit: they differ by no more than what both may be off by."""
    typed = by_name(run(bundled_plan(), seed=seed, by_hand=ELECTRICAL))
    measured = by_name(inspection(seed))
    for name in ELECTRICAL:
        by_hand, by_rig = typed[name].reading, measured[name].reading
        assert by_hand is not None
        assert by_rig is not None
        assert (by_hand.how, by_hand.instrument, by_hand.by) == ("by hand", "hand meter SIM-HM-1", "simulated person")
        assert by_hand.u > by_rig.u
        assert abs(by_hand.value - by_rig.value) < 4 * math.hypot(by_hand.u, by_rig.u)
        assert typed[name].verdict is Verdict.PASS


def test_a_stop_watch_times_what_the_rig_times_and_the_steps_beside_it_go_on() -> None:
    typed, measured = by_name(run(bundled_plan(), seed=4, by_hand=("fill-time",))), by_name(inspection(4))
    assert value(typed["fill-time"]) == pytest.approx(value(measured["fill-time"]), abs=1.5)
    assert dict(typed["fill-time"].reading.parts)["start by hand"] == pytest.approx(0.3 / math.sqrt(3))  # type: ignore[union-attr]
    for beside in ("fill-supply-loaded", "fill-current-from-board", "chamber-pressure-filling"):
        assert typed[beside].verdict is Verdict.PASS
        assert typed[beside].reading.how == "measured"  # type: ignore[union-attr]


def test_a_stop_watch_that_ran_out_is_a_fail() -> None:
    step = by_name(run(bundled_plan(), seed=4, by_hand=("fill-time",), faults=(("coil-open", 1.0),)))["fill-time"]
    assert step.verdict is Verdict.FAIL
    assert step.reading.bound == "more than"  # type: ignore[union-attr]
    assert "'level-probe wet'" in str(step.reason)


def test_a_rate_by_hand_is_two_readings_and_a_known_time() -> None:
    events: list = []
    step = by_name(run(bundled_plan(), events, seed=4, by_hand=("mass-rate-from-bench",)))["mass-rate-from-bench"]
    # a mean over the whole time, the first surge included, against a slope: near each other, not the same
    assert value(step) == pytest.approx(value(by_name(inspection(4))["mass-rate-from-bench"]), rel=0.1)
    asked = [e.step for e in events if isinstance(e, Prompted) and e.step.startswith("mass-rate")]
    assert asked == ["mass-rate-from-bench-before", "mass-rate-from-bench-after"]
    fed = [e.on for e in events if isinstance(e, OutputConfirmed) and e.output == "fill-feed"]
    assert fed[-2:] == [True, False]


def test_an_open_coil_is_more_than_the_meter_shows() -> None:
    record = run(bundled_plan(), seed=4, by_hand=("coil-resistance",), faults=(("coil-open", 1.0),))
    step = by_name(record)["coil-resistance"]
    assert (step.verdict, step.reading.bound) == (Verdict.FAIL, "more than")  # type: ignore[union-attr]


def test_a_prepared_answer_is_kept_with_all_that_was_said() -> None:
    said = "59.1 Ohm ± 0.4 Ohm with DMM 7"
    record = run(bundled_plan(), seed=4, by="B. Ench", by_hand=("coil-resistance",), answers={"coil-resistance": said})
    reading = by_name(record)["coil-resistance"].reading
    assert reading is not None
    assert (reading.value, reading.instrument, reading.by, reading.how) == (59.1, "DMM 7", "B. Ench", "by hand")
    assert dict(reading.parts) == {"stated by hand": pytest.approx(0.4 / math.sqrt(3))}
    assert normal_record(record) == record
    step = next(s for s in run_dict(record)["steps"] if s["name"] == "coil-resistance")
    assert (step["reading"]["instrument"], step["reading"]["by"]) == ("DMM 7", "B. Ench")


def test_what_is_on_is_said_before_a_person_measures_there() -> None:
    events: list = []
    run(bundled_plan(), events, seed=4, by_hand=("fill-current-from-bench", "mains-under-load", "coil-resistance"))
    cautions = {e.step: e.caution for e in events if isinstance(e, Prompted)}
    assert "fill-feed" in cautions["fill-current-from-bench"]
    assert "mains" in cautions["mains-under-load"]
    assert "On meanwhile" not in cautions["coil-resistance"]


def test_ohms_by_hand_only_when_the_rig_has_proved_the_circuit_dead() -> None:
    events: list = []
    run(bundled_plan(), events, seed=4, by_hand=("coil-resistance", "fill-lead-resistance"))
    asked = next(n for n, e in enumerate(events) if isinstance(e, Prompted) and e.step == "fill-lead-resistance")
    volts_bus = [n for n, e in enumerate(events) if isinstance(e, OutputConfirmed) and e.output == "volts-bus" and e.on]
    assert volts_bus[1] < asked  # the first was the step 'proved-dead' at the heater, the second the valve's circuit


def test_names_that_are_no_readings_are_refused_before_anything() -> None:
    with pytest.raises(InputError) as refused:
        run(bundled_plan(), by_hand=("coil-resistence", "heat-rise"))
    text = "\n".join(refused.value.lines())
    assert "nearest is 'coil-resistance'" in text
    assert "heat-rise" in text


def test_an_answer_without_an_instrument_is_refused_before_anything() -> None:
    with pytest.raises(InputError, match="prepared answers") as refused:
        run(bundled_plan(), by_hand=("coil-resistance",), answers={"coil-resistance": "59 Ohm"})
    assert "with which instrument" in "\n".join(refused.value.lines())


def test_the_prompts_of_a_timing_by_hand_have_names_of_their_own() -> None:
    names = [p.step for p in prompts_of(bundled_plan(), ("fill-time", "mass-rate-from-bench"))]
    for name in ("fill-time-ready", "fill-time-start", "fill-time", "mass-rate-from-bench-before"):
        assert names.count(name) == 1
    assert "second-fill-time" in names  # started by a person, timed by the rig


def test_a_terminal_may_say_that_it_never_began() -> None:
    answers = {"fill-time": "never began"}
    record = run(bundled_plan(), seed=4, by_hand=("fill-time",), answers=answers)
    step = by_name(record)["fill-time"]
    assert step.verdict is Verdict.FAIL
    assert "'fill-drive on'" in str(step.reason)
    assert step.answer == "never began"


def test_who_answered_is_on_record() -> None:
    events: list = []
    run(bundled_plan(), events, seed=4, by_hand=("coil-resistance",))
    answered = [e for e in events if isinstance(e, Answered) and e.step == "coil-resistance"]
    assert [e.answered_by for e in answered] == ["simulated person"]


def test_a_figure_that_nobody_watched_is_not_made_up() -> None:
    record = run(bundled_plan(), seed=4, by_hand=("chamber-pressure-filling",))
    assert record.ended.verdict is Verdict.STOPPED
    assert "nobody is there to answer" in str(record.ended.reason)
    assert record.ended.all_off
    assert issubclass(Stopped, Exception)


def lines(said: str, step: str = "leak-pressure-first", bench: str = "hand-meter") -> dict[str, float]:
    """The shares of a budget of a reading that is typed for a step of the leak test, in Pa."""
    plan = bundled_plan("leak-down", bench=bench)
    (measure,) = (s for stage in plan.procedure.stages for s in stage.all_steps() if s.step == step)
    assert isinstance(measure, Measure)
    lines = lines_of(typed(said, "kPa"), said, plan.bench, measure, date(2026, 11, 26))
    return {each.name: abs(each.share) * 3.0**0.5 for each in lines}


def test_a_reading_by_the_benches_own_instrument_is_worth_what_the_bench_states() -> None:
    """The gauge: 600 Pa, of which 60 Pa move; half of the last digit comes on top."""
    stated = {"limit of error": 570.0, "drift": 30.0, "last digit": 50.0}
    assert lines("150.2 kPa with HM-5") == pytest.approx(stated)
    assert lines("150.2 with gauge") == pytest.approx(stated)
    assert lines("150.2 kPa with gauge 12") == pytest.approx({"last digit": 50.0})
    # a person who says ± is believed, and the drift is still what lies between two readings
    assert lines("150.2 kPa ± 0.3 kPa with HM-5") == pytest.approx(
        {"stated by hand": 220.0, "drift": 30.0, "last digit": 50.0}
    )
    assert lines("150.2 kPa ± 0.3 kPa with gauge 12") == pytest.approx({"stated by hand": 300.0})
    assert lines("150.2 kPa ± 0.06 kPa with HM-5") == pytest.approx({"stated by hand": 60.0})
    assert lines("more than 400 kPa with HM-5") == pytest.approx({"last digit": 500.0})


def test_what_two_readings_by_one_gauge_have_in_common_drops_out_of_the_pressure_lost() -> None:
    steps = by_name(run(bundled_plan("leak-down", bench="simulated-hand-meter"), seed=5))
    first, lost = steps["leak-pressure-first"].reading, steps["pressure-lost"].reading
    assert first is not None
    assert lost is not None
    assert lost.u < 0.6 * first.u
    named = {each.name for each in lost.budget}
    assert {"leak-pressure-first: drift", "leak-pressure-last: last digit"} <= named


def test_a_seat_at_rest_is_judged_by_hand_too() -> None:
    """10 g/min are weighed and seen; nothing is weighed and passes."""
    plan = bundled_plan("fill-diagnosis", bench="simulated-hand-meter")
    sound = by_name(run(plan, seed=3))["seat-at-rest"]
    weak = by_name(run(plan, seed=3, faults=(("spring-weak", 1.0),)))["seat-at-rest"]
    assert (sound.verdict, weak.verdict) == (Verdict.PASS, Verdict.FAIL)
    assert sound.reading is not None
    assert sound.reading.u * 60 < 0.05  # g/min, where 0.3 are allowed
