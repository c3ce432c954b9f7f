"""Steps and stages for some units only: left out wholly where they do not apply, and proved where they do."""

from __future__ import annotations

from pathlib import Path

import pytest
from small_shop import Shop

from rig.errors import InputError
from rig.plan.check import check
from rig.plan.for_units import for_unit
from rig.plan.plan import Plan, each_step, make_plan
from rig.plan.procedure import Procedure

DC, AC = "for-units: {fill.valve: [DC coil]}", "for-units: {fill.valve: [AC coil, none]}"


def plan(shop: Shop) -> Plan:
    return make_plan(shop.load("procedure"), shop.load("profile"), shop.load("bench"))


def names(shop: Shop) -> list[str]:
    stages = plan(shop).procedure.stages
    return [s.step for stage in stages for s in each_step(stage.all_steps())]


def only(shop: Shop, step: str, line: str, indent: int = 8) -> Shop:
    """The shop with a line put under a step's first one."""
    return shop.change(f"- step: {step}\n", f"- step: {step}\n{' ' * indent}{line}\n")


def on_ac(shop: Shop) -> Shop:
    """The same shop with a unit of the other kind; the words of both are known."""
    return shop.change("valve: DC coil}", "valve: AC coil}")


@pytest.fixture(autouse=True)
def _known_words(monkeypatch: pytest.MonkeyPatch) -> None:
    """Units of both kinds are bundled, and one word more."""
    from rig.plan import proof_units
    from rig.plan.profile import UnitProfile

    def unit(word: str) -> UnitProfile:
        facts = {"fill": {"valve": word, "give-up": "180 s"}, "chamber": {"ports": "one"}}
        head = {"unit-profile": "u", "title": "u", "revision": "1", "source": "invented"}
        return UnitProfile.model_validate({**head, "facts": facts, "limits": {}})

    monkeypatch.setattr(proof_units, "_bundled", lambda: tuple(unit(w) for w in ("DC coil", "AC coil", "none")))


def test_a_step_for_this_unit_is_done(shop: Shop) -> None:
    changed = only(shop, "earth", DC)
    assert changed.faults() == []
    assert names(changed) == names(shop)


def test_a_step_for_other_units_is_left_out_wholly(shop: Shop) -> None:
    """Not in the steps, the count or the minutes; who needed it does not wait for it."""
    changed = only(only(shop, "supply", DC, 12), "coil", DC).change(
        "compute: copper-at-20(coil, ambient)", "compute: 1 Ohm"
    )
    changed = changed.change("in: Ohm\n", "in: Ohm\n        needs: [coil]\n")
    changed = changed.change("- step: heat-on\n", "- step: heat-on\n        when: {step: supply, was: [pass]}\n")
    before, after = plan(changed), plan(on_ac(changed))
    assert set(names(changed)) - set(names(on_ac(changed))) == {"supply", "coil"}
    assert after.step_count() == before.step_count() - 2
    assert after.minutes() == pytest.approx(before.minutes() - 0.1 - 0.1)  # supply no longer outweighs its timing
    steps = {s.step: s for stage in after.procedure.stages for s in each_step(stage.all_steps())}
    assert steps["coil-at-20"].needs == ()
    assert steps["heat-on"].conditions == ()


def test_two_steps_may_share_a_name_where_no_unit_has_both(shop: Shop) -> None:
    second = "      - step: earth\n        for-units: {fill.valve: [AC coil]}\n        settle: 1 s\n"
    once = only(shop, "earth", DC)
    both = once.change("  - stage: fill\n", second + "  - stage: fill\n")
    assert both.faults() == []
    assert names(both).count("earth") == names(on_ac(both)).count("earth") == 1
    overlapping = both.change("{fill.valve: [AC coil]}", "{fill.valve: [AC coil, DC coil]}")
    overlapping.expect_among("procedure", "step: ^earth\n        for-units: {fill.valve: [AC", "earth", "taken")


def test_a_stage_for_other_units_goes_with_all_that_is_in_it(shop: Shop) -> None:
    changed = shop.change("title: The bench feeds\n", f"title: The bench feeds\n    {DC}\n")
    assert [s.stage for s in plan(changed).procedure.stages] == ["cold", "fill", "feed"]
    assert [s.stage for s in plan(on_ac(changed)).procedure.stages] == ["cold", "fill"]


def test_a_repeat_with_nothing_left_and_a_stage_without_steps_go_too(shop: Shop) -> None:
    changed = on_ac(only(shop, "rate", DC, 14))
    assert not {"again", "rate"} & set(names(changed))
    changed = only(changed, "dip", DC)
    assert "feed" not in {s.stage for s in plan(changed).procedure.stages}


def test_all_facts_must_fit_and_a_missing_or_measured_one_fits_nothing(shop: Shop) -> None:
    assert "earth" in names(only(shop, "earth", "for-units: {fill.valve: [AC coil, DC coil]}"))
    lacks = only(shop, "ambient", "for-units: {fill.valve: [DC coil], chamber.ports: [one]}")
    assert lacks.faults() != []  # the step that computes with it is for every unit
    freed = lacks.change("compute: copper-at-20(coil, ambient)", "compute: coil")
    assert freed.faults() == []
    assert "ambient" not in names(freed)


@pytest.mark.parametrize(
    ("line", "at", "words"),
    [
        ("for-units: {fill.valv: [DC coil]}", "[DC coil]}\n        ask", ("fact of a unit", "fill.valv", "fill.valve")),
        (
            "for-units: {fill.valve: [DC coils]}",
            "DC coils",
            ("no unit has the word", "DC coils", "nearest is 'DC coil'"),
        ),
        ("for-units: {fill.give-up: [180 s]}", "180 s]", ("no unit has the word", "180 s")),
        ("for-units: {fill.valve: []}", "[]", ("at least 1",)),
        ("for-units: {fill: [DC coil]}", "fill: [DC", ("group.name", "fill.valve")),
    ],
)
def test_unknown_facts_and_words(shop: Shop, line: str, at: str, words: tuple[str, ...]) -> None:
    only(shop, "earth", line).expect_among("procedure", at if "^" in at else f"^{at}", *words)


def test_whoever_computes_with_a_reading_of_other_units_must_be_for_them_too(shop: Shop) -> None:
    changed = on_ac(only(shop, "coil", DC))
    changed.expect_among("procedure", "^copper-at-20(coil", "coil", "other units")
    assert only(changed, "coil-at-20", DC).faults() == []


def test_limits_of_other_units_are_not_asked_of_this_profile(shop: Shop) -> None:
    limit = "limit: {at-least: 20 V, at-most: 30 V, source: invented}"
    changed = only(shop, "supply", AC, 12).change(limit, "limit: {profile: supply-ac}")
    assert changed.faults() == []
    on_ac(changed).expect_among("procedure", "^supply-ac", "limit of profile", "supply-ac")


def test_without_a_unit_nothing_is_for_some(tmp_path: Path) -> None:
    text = (
        'procedure: p\ntitle: P\nrevision: "1"\nneeds-unit: no\nstages:\n  - stage: s\n    title: S\n    drive: dead\n'
        "    steps:\n      - {step: wait, settle: 1 s, for-units: {fill.valve: [DC coil]}}\n"
    )
    path = tmp_path / "p.yaml"
    path.write_text(text, encoding="utf-8")
    assert "for no unit" in str(check([path])[0])


def test_a_procedure_that_tells_units_apart_is_checked_with_every_bundled_unit(tmp_path: Path) -> None:
    text = (
        'procedure: p\ntitle: P\nrevision: "1"\nstages:\n  - stage: s\n    title: S\n    drive: dead\n'
        "    steps:\n      - step: wait\n        settle: 1 s\n        for-units: {fill.valve: [none]}\n"
        "      - step: room\n        measure: temperature\n        at: ambient-temperature\n        no-limit: a test\n"
    )
    path = tmp_path / "p.yaml"
    path.write_text(text, encoding="utf-8")
    assert check([path]) == []


def test_nothing_for_this_unit_is_no_plan(shop: Shop) -> None:
    text = 'procedure: p\ntitle: P\nrevision: "1"\nstages:\n  - stage: s\n    title: S\n    drive: dead\n'
    text += f"    steps:\n      - {{step: wait, settle: 1 s, {AC}}}\n"
    changed = Shop(shop.folder, {**shop.texts, "procedure": text})
    with pytest.raises(InputError) as refused:
        plan(changed)
    assert "nothing in this procedure is for this unit" in refused.value.lines()[0]
    model = changed.load("procedure").model
    assert isinstance(model, Procedure)
    assert for_unit(model, None).stages == ()
