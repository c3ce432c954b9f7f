"""Plans made of three files, and what ``rig check`` is told of files."""

from __future__ import annotations

import dataclasses
from pathlib import Path

import pytest
from small_shop import Shop

from rig.errors import InputError
from rig.limits import Limit
from rig.plan.check import check
from rig.plan.load import KINDS, bundled, load_named
from rig.plan.plan import Plan, each_step, make_plan
from rig.plan.procedure import Compute, Judged, Record, Time


def small_plan(shop: Shop) -> Plan:
    return make_plan(shop.load("procedure"), shop.load("profile"), shop.load("bench"))


def steps_of(plan: Plan) -> dict[str, object]:
    return {s.step: s for stage in plan.procedure.stages for s in each_step(stage.all_steps())}


def test_limits_come_in_canonical_units_with_their_source(shop: Shop) -> None:
    plan = small_plan(shop)
    steps = steps_of(plan)

    def limit(name: str) -> Limit | None:
        step = steps[name]
        assert isinstance(step, Judged)
        return plan.limit(step)

    assert limit("fill-time") == Limit(None, 120.0, "s", "profile small-unit, fill-time: invented", "min")
    coil = limit("coil")
    assert coil is not None
    assert (coil.at_least, coil.at_most) == pytest.approx((48.96, 66.24), rel=1e-12)
    assert coil.source == "profile small-unit, coil: invented"
    assert limit("dip") == Limit(0.03, None, "A", "invented", "mA")
    rise = limit("rise")
    assert rise is not None
    assert (rise.at_least, rise.unit, rise.shown_in) == (pytest.approx(0.15), "K/s", "K/min")
    assert limit("warming") is None


def test_durations_facts_and_formulas(shop: Shop) -> None:
    plan = small_plan(shop)
    steps = steps_of(plan)
    timing = steps["fill-time"]
    assert isinstance(timing, Time)
    assert plan.seconds(timing.time.give_up) == 180.0
    assert plan.seconds(timing.time.start_within) == 60.0
    assert plan.fact("mains.voltage").to("V") == 230.0
    with pytest.raises(TypeError, match="words"):
        plan.fact("fill.valve")
    with pytest.raises(KeyError):
        plan.fact("fill.nothing")
    step = steps["coil-at-20"]
    assert isinstance(step, Compute)
    assert plan.formula(step).names == ("coil", "ambient")
    record = steps["rate"]
    assert isinstance(record, Record)
    assert (record.figure, record.judged) == ("slope", "jug")


def test_minutes_and_count(shop: Shop) -> None:
    # 4 dead, 1 switch, 1 timing with 2 under it, 1 switch, 1 timing, 1 compute, 1 waveform, 3 times 1: every step
    # at the default of 0.1 min; the two under meanwhile together just outweigh their timing
    plan = small_plan(shop)
    assert plan.step_count() == 4 + 1 + 3 + 1 + 1 + 1 + 1 + 3
    assert plan.minutes() == pytest.approx(0.1 * (4 + 1 + 2 + 1 + 1 + 1 + 1 + 3))
    longer = shop.change("after-bad: leave out stage\n", "after-bad: leave out stage\n        minutes: 3\n")
    assert small_plan(longer).minutes() == pytest.approx(0.1 * 12 + 3)


def test_plans_are_frozen(shop: Shop) -> None:
    plan = small_plan(shop)
    with pytest.raises(dataclasses.FrozenInstanceError):
        plan.profile = None  # type: ignore[misc]
    with pytest.raises(ValueError, match="frozen"):
        plan.procedure.title = "x"
    assert isinstance(plan.procedure.stages, tuple)


def test_a_plan_that_fails_its_proof_is_not_made(shop: Shop) -> None:
    changed = shop.change("is: wet", "is: dry")
    with pytest.raises(InputError) as caught:
        small_plan(changed)
    assert caught.value.exit_code == 2
    assert len(caught.value.faults) == 1
    assert "water" in caught.value.lines()[0]


def test_no_profile_where_none_is_needed(shop: Shop) -> None:
    self_check = load_named("procedure", "bench-self-check")
    bench = load_named("bench", "simulated")
    assert make_plan(self_check, load_named("unit-profile", "demo-18-dc"), bench).profile is None
    plan = make_plan(self_check, None, bench)
    with pytest.raises(KeyError):
        plan.fact("mains.voltage")
    with pytest.raises(InputError, match="fault") as caught:
        make_plan(shop.load("procedure"), None, shop.load("bench"))
    assert "no unit profile" in caught.value.lines()[0]


def test_files_in_each_others_place(shop: Shop) -> None:
    procedure, profile, bench = (shop.load(n) for n in ("procedure", "profile", "bench"))
    for wrong in ((bench, profile, bench), (procedure, profile, procedure), (procedure, bench, bench)):
        with pytest.raises(InputError, match="expected"):
            make_plan(*wrong)


def all_bundled() -> list[Path]:
    return [path for kind in KINDS for path in bundled(kind).values()]


def test_every_bundled_file_passes() -> None:
    for path in all_bundled():
        assert check([path]) == []


def test_a_procedure_is_proved_with_what_is_given_beside_it(shop: Shop) -> None:
    procedure, profile, bench = (shop.path(n) for n in ("procedure", "profile", "bench"))
    assert check([procedure, profile, bench]) == []
    assert check([procedure, procedure, profile, bench, bench]) == []
    # alone, it meets the bundled bench, which has other names
    alone = check([procedure])
    assert alone
    assert {f.file for f in alone} == {str(procedure)}
    assert check([procedure], bench=str(bench), unit=str(profile)) == []


def test_a_fault_with_one_of_two_benches_says_with_which(shop: Shop) -> None:
    paths = [shop.path(n) for n in ("procedure", "profile", "bench")]
    other = shop.folder / "other.yaml"
    other.write_text(
        shop.texts["bench"].replace("at: ", "at: ").replace("longest-on: 20 min", "longest-on: 2 min"), encoding="utf-8"
    )
    found = check([*paths, other])
    assert len(found) == 1
    assert found[0].message.endswith("(with bench other, unit profile)")
    both = shop.change("needs: [earth]", "needs: [erth]")
    common = [f for f in check([both.path("procedure"), *paths[1:], other]) if "erth" in f.message]
    assert len(common) == 1
    assert "with bench" not in common[0].message


def test_missing_and_unreadable_files_are_one_fault_each(shop: Shop, tmp_path: Path) -> None:
    good = [shop.path(n) for n in ("procedure", "profile", "bench")]
    bad = tmp_path / "bad.yaml"
    bad.write_bytes(b"\xff\xfe\x00")
    found = check([tmp_path / "missing.yaml", bad, tmp_path, *good])
    assert [(Path(f.file).name, f.line) for f in found] == [(tmp_path.name, 0), ("bad.yaml", 1), ("missing.yaml", 0)]


def test_a_broken_bench_is_not_replaced_by_another(shop: Shop) -> None:
    broken = shop.change("simulated: true", "simulated: maybe")
    found = check([broken.path(n) for n in ("procedure", "profile", "bench")])
    assert [Path(f.file).name for f in found] == ["bench.yaml"]


def test_benches_and_profiles_are_looked_at_by_themselves(shop: Shop) -> None:
    bench = shop.change("raw: [0, 30000]", "raw: [1, 1]").path("bench")
    (fault,) = check([bench])
    assert "raw" in fault.message
    profile = shop.change("  mains: {voltage: 230 V}", "  water: {density: 1 kg/m3}").path("profile")
    (fault,) = check([profile])
    assert "water.density" in fault.message


def test_an_unknown_bench_or_unit_is_refused(shop: Shop) -> None:
    path = shop.path("procedure")
    with pytest.raises(InputError, match="no bench is called 'simulate'"):
        check([path], bench="simulate")
    with pytest.raises(InputError, match="no unit-profile is called"):
        check([path], unit="demo")
    missing = str(shop.folder / "missing.yaml")
    assert "no such file" in [f.message for f in check([path], bench=missing)]
