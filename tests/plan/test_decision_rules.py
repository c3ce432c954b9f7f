"""Decision rules in files, and ratios that are too poor: warned of before the run, or refused."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from small_shop import Shop

from rig.limits import Limit, Rule
from rig.plan.check import look_over
from rig.plan.plan import make_plan
from rig.plan.proof_ratio import Ratio, ratios
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


def expected(shop: Shop) -> dict[str, Ratio]:
    return {each.step: each for each in ratios(make_view(*(shop.load(n) for n in ("procedure", "profile", "bench"))))}


def test_what_is_known_of_each_limit_before_the_run(shop: Shop) -> None:
    """By hand, k = 2 and rectangular limits of error: see each line."""
    known = expected(shop)
    # 0.3 K and half a count of 10 mK
    assert known["ambient"].expanded == pytest.approx(2 * math.hypot(0.3, 0.005) / math.sqrt(3))
    # 66.24 Ohm on 1 kOhm: 0.01 % of both; the ratio is 17.28 Ohm by 2 U
    coil = 2 * (66.24e-4 + 0.1) / math.sqrt(3)
    assert known["coil"].expanded == pytest.approx(coil)
    assert known["coil"].ratio == pytest.approx(17.28 / (2 * coil))
    # the coil at the middle of its limits times 255/(235 + 22.5); and 22.5 Cel of which 1 K makes 0.39 %
    u_coil = (57.6e-4 + 0.1) / math.sqrt(3) * 255 / 257.5
    u_room = 57.6 * 255 / 257.5**2 * math.hypot(0.3, 0.005) / math.sqrt(3)
    assert known["coil-at-20"].expanded == pytest.approx(2 * math.hypot(u_coil, u_room), rel=1e-3)
    # 50 K / x = 9 K/min at x = 333.3 s; 1 s between looks, 100 ppm, and 0.3 K at both ends over 50 K
    edges, sensor = math.hypot(0.5, 0.5, 333.3e-4), math.hypot(0.3, 0.005) * math.sqrt(2) / 50 * 333.3
    u_time = math.hypot(edges, sensor) / math.sqrt(3)
    assert known["rise"].expanded == pytest.approx(2 * 50 / 333.3**2 * u_time, rel=2e-3)
    # jug: 1 g at both ends of 10 s
    assert known["rate"].expanded == pytest.approx(2 * math.sqrt(2) / math.sqrt(3) / 10)
    # 30 mA through 0.1 Ohm on 100 V, and the zero once more
    assert known["dip"].expanded is not None
    assert known["dip"].why_not == ""
    assert {name for name, each in known.items() if each.why_not} == set()


def test_what_cannot_be_known_is_said(shop: Shop) -> None:
    grown = shop.change(
        "judge: dip\n        limit: {at-least: 30 mA,", "judge: inductance growth\n        limit: {at-least: 1.6 1,"
    )
    assert "noise of the record" in expected(grown)["dip"].why_not
    typed = shop.change("        standard-uncertainty: 5 mOhm\n", "")
    assert "last digit" in expected(typed)["earth"].why_not
    two = shop.change("in: Ohm\n        limit: {profile: coil}", "in: Ohm\n        no-limit: x").change(
        "compute: 50 K / to-90", "compute: 50 K / to-90 * coil-at-20 / coil-at-20"
    )
    assert "have no limits" in expected(two)["rise"].why_not


def test_a_limit_that_its_guard_bands_close(shop: Shop) -> None:
    """0.3 K and 5 mK: U = 0.35 K; a span of 0.69 K is closed, one of 0.7 K is not."""
    old = "{at-least: 10 Cel, at-most: 35 Cel, source: invented}"
    closed = shop.change(old, "{nominal: 20 Cel, within: 0.34 K, source: i}")
    closed.expect("procedure", "limit: ^{nominal: 20 Cel", "no reading can meet", "guard band")
    assert shop.change(old, "{nominal: 20 Cel, within: 0.35 K, source: i}").faults() == []
    simple = with_rule(closed, "{guard-band: 0}")
    assert simple.faults() == []


def test_risks_for_a_stated_prior() -> None:
    """A ratio of 4 with 95 units in 100 that conform: 0.8583 % and 1.5537 % by simple acceptance, as the metrology
    press prints them (joint normal model); a guard band moves the risk from the consumer to the producer."""
    limit = Limit(9.0, 11.0, "V", "a test", rule=Rule(guard=0.0, verdicts=2))
    simple = Ratio("x", limit, 0.25, 4.0, "").risks(0.95)
    assert simple is not None
    assert (simple.consumer, simple.producer) == pytest.approx((0.008583, 0.015537), abs=1e-6)
    guarded = Ratio("x", replace(limit, rule=Rule()), 0.25, 4.0, "").risks(0.95)
    assert guarded is not None
    assert guarded.consumer < 0.001 < simple.producer < guarded.producer
    assert Ratio("x", replace(limit, at_least=None), 0.25, None, "").risks(0.95) is None
    assert Ratio("x", limit, None, None, "not known").risks(0.95) is None
