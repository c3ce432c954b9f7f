"""Decision rules in files, and ratios that are too poor: warned of before the run, or refused."""

from __future__ import annotations

import pytest
from small_shop import Shop

from rig.limits import Rule
from rig.plan.check import look_over
from rig.plan.plan import make_plan
from rig.plan.view import make_view

HEAD = 'revision: "1"\nas-found'
PROFILE_HEAD = "source: invented\napproved"


def with_rule(shop: Shop, rule: str) -> Shop:
    return shop.change(HEAD, f'revision: "1"\ndecision-rule: {rule}\nas-found')


def rules(shop: Shop) -> tuple[Rule, Rule]:
    """Of a limit that the procedure wrote, and of one of the profile's."""
    plan = make_plan(shop.load("procedure"), shop.load("profile"), shop.load("bench"))
    steps = {s.step: s for stage in plan.procedure.stages for s in stage.steps}
    found = [plan.limit(steps[name]) for name in ("ambient", "coil")]
    assert found[0] is not None
    assert found[1] is not None
    return found[0].rule, found[1].rule


def test_a_rule_goes_with_who_wrote_the_limit(shop: Shop) -> None:
    assert rules(shop) == (Rule(), Rule())
    own = with_rule(shop, "{guard-band: 0.83, verdicts: two}")
    assert rules(own) == (Rule(0.83, 2), Rule(0.83, 2))  # the profile has none, so the procedure's holds
    both = own.change(PROFILE_HEAD, "source: invented\ndecision-rule: {guard-band: 0, least-ratio: 4}\napproved")
    assert rules(both) == (Rule(0.83, 2), Rule(0.0, 4, 4.0))


@pytest.mark.parametrize(
    ("rule", "words"),
    [
        ("{guard-band: -1}", "not less than 0"),
        ("{guard-band: 5}", "not more than 3"),
        ("{verdicts: three}", "four"),
        ("{gard-band: 1}", "guard-band"),
        ("{below-it: stop}", "warn"),
    ],
)
def test_a_rule_that_is_none(shop: Shop, rule: str, words: str) -> None:
    found = with_rule(shop, rule).faults()
    assert found
    assert any(words in f.message for f in found), found


def warned(shop: Shop) -> list[str]:
    found = look_over([shop.path(name) for name in shop.texts])
    assert found.faults == ()
    return [w.message for w in found.warnings]


def test_a_ratio_too_poor_is_a_warning_at_the_limit(shop: Shop) -> None:
    assert warned(shop) == []
    poor = shop.change(
        "{at-least: 10 Cel, at-most: 35 Cel, source: invented}", "{nominal: 20 Cel, within: 0.5 K, source: i}"
    )
    (message,) = warned(poor)
    assert "too poor to decide" in message
    nearly = shop.change(
        "{at-least: 10 Cel, at-most: 35 Cel, source: invented}", "{nominal: 20 Cel, within: 5 K, source: i}"
    )
    assert warned(nearly) == []


def test_a_profile_may_refuse_a_poor_ratio(shop: Shop) -> None:
    refusing = "{least-ratio: 100, below-it: refuse}"
    procedure = with_rule(shop, refusing)
    assert any("too poor" in f.message for f in procedure.faults())
    assert with_rule(shop, "{least-ratio: 1, below-it: refuse}").faults() == []


def test_a_hand_reading_counts_its_stated_uncertainty(shop: Shop) -> None:
    poor = shop.change("standard-uncertainty: 5 mOhm", "standard-uncertainty: 80 mOhm")
    (message,) = warned(poor)
    assert "too poor" in message


def test_the_ratio_is_that_of_the_statement(shop: Shop) -> None:
    """By hand: 0.2 Ohm span from zero, U = 2 x 5 mOhm: 10."""
    view = make_view(shop.load("procedure"), shop.load("profile"), shop.load("bench"))
    step = view.by_name["earth"].step
    limit = make_plan(shop.load("procedure"), shop.load("profile"), shop.load("bench")).limit(step)  # type: ignore[arg-type]
    assert limit is not None
    assert limit.ratio(0.01) == pytest.approx(10.0)
