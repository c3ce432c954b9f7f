"""What the rules of release are asked with, from the files that come with the rig."""

from __future__ import annotations

from rig.cli.standing import _steps_for, bundled_hashes, shop_rules
from rig.plan.load import bundled, load_named
from rig.plan.profile import UnitProfile


def steps_of(unit: str) -> frozenset[str]:
    model = load_named("unit-profile", unit).model
    assert isinstance(model, UnitProfile)
    return _steps_for(model)


def test_steps_inside_others_can_be_measured_too() -> None:
    assert {"fill-time", "fill-supply-loaded", "fill-current-from-board"} <= steps_of("demo-18-dc")


def test_what_a_repair_makes_one_measure_again_exists_for_some_unit() -> None:
    """A word of the table that no procedure has would ask for nothing, unseen."""
    known = frozenset[str]().union(*(steps_of(unit) for unit in bundled("unit-profile")))
    rules = shop_rules(None)
    missing = {step for rule in rules.retest.values() for step in rule.steps} - known
    assert missing == set()
    procedures = set(bundled("procedure"))
    assert {name for rule in rules.retest.values() for name in rule.procedures} <= procedures
    assert rules.self_check.procedure in procedures


def test_what_is_never_conceded_is_a_step_or_something_that_is_looked_at() -> None:
    known = frozenset[str]().union(*(steps_of(unit) for unit in bundled("unit-profile")))
    rules = shop_rules(None)
    assert set(rules.never_conceded.steps) <= known | set(rules.look_at)
    assert {*rules.never_conceded.procedures, *rules.release_needs} <= set(bundled("procedure"))


def test_every_part_of_every_unit_has_something_to_measure_again() -> None:
    rules = shop_rules(None)
    for unit in bundled("unit-profile"):
        steps = steps_of(unit)
        for name, rule in rules.retest.items():
            if name == "rectifier" and unit == "demo-18-ac":
                continue  # it has none
            assert rule.procedures or steps & set(rule.steps), (unit, name)


def test_every_complaint_of_the_tables_of_causes_is_known_at_receiving() -> None:
    assert set(bundled("complaint")) <= set(shop_rules(None).complaints)


def test_the_files_in_force_are_known_by_their_hashes() -> None:
    hashes = bundled_hashes()
    assert ("unit-profile", "demo-18-dc") in hashes
    assert all(len(found) == 64 for found in hashes.values())
