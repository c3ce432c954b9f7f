"""The posterior against plain enumeration, and what it does with missing, soft and odd evidence."""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pytest

from rig.diagnosis.evidence import Evidence, known, one_each, seen, sides
from rig.diagnosis.model import NEVER, build
from rig.diagnosis.rank import REPAIR_FAILS, rank
from rig.diagnosis.together import both
from rig.diagnosis.unit_table import NONE_OF_THESE
from rig.plan.causes import Outcome
from tests.small_tables import bundled_table, made

COMPLAINTS = ["no-water-level", "slow-heat", "wet-or-leaking"]

CAUSES = {"a": 0.5, "b": 0.3, "c": 0.15}
SEEN = {
    "x": {"healthy": {"high": 0.1}, "given": {"a": {"high": 0.9}, "b": {"high": 0.4}}},
    "y": {"healthy": {"low": 0.02, "high": 0.03}, "given": {"b": {"low": 0.8}, "c": {"high": 0.7, "low": 0.1}}},
}


@pytest.mark.parametrize("complaint", COMPLAINTS)
@pytest.mark.parametrize("place", ["field", "bench"])
def test_with_nothing_observed_the_ranking_is_the_prior(complaint: str, place: str) -> None:
    table = bundled_table(complaint, place)
    ranking = rank(build(table), [])
    start = table.start()
    assert ranking.shares() == pytest.approx(start, abs=1e-12)
    assert list(ranking.shares()) == sorted(start, key=lambda n: -round(start[n], 12))
    assert sum(ranking.pairs().values()) == pytest.approx(table.two_causes())
    assert sum(ranking.remedies().values()) == pytest.approx(1.0)


def test_the_posterior_is_the_enumerated_one() -> None:
    """Singles and pairs written out one by one, without arrays."""
    table = made(CAUSES, SEEN, none=0.05, two=0.2)
    ranking = rank(build(table), [seen("x", "high"), seen("y", "low")])

    def smooth(row: list[float]) -> list[float]:
        return [p * (1 - NEVER) + NEVER / len(row) for p in row]

    x = {n: smooth([1 - p, p]) for n, p in {"a": 0.9, "b": 0.4, "c": 0.1, "": 0.1}.items()}
    y = {n: smooth([1 - low - high, low, high]) for n, (low, high) in
         {"a": (0.02, 0.03), "b": (0.8, 0.0), "c": (0.1, 0.7), "": (0.02, 0.03)}.items()}  # fmt: skip
    total = sum(CAUSES.values())
    weight = {n: p * 0.95 / total for n, p in CAUSES.items()}
    pairs = list(combinations(CAUSES, 2))
    products = {p: weight[p[0]] * weight[p[1]] for p in pairs}
    prior_pair = {p: 0.2 * q / sum(products.values()) for p, q in products.items()}
    prior = {(n,): weight[n] - sum(q for p, q in prior_pair.items() if n in p) / 2 for n in CAUSES} | prior_pair
    joint = {}
    for names, p in prior.items():
        if len(names) == 1:
            joint[names] = p * x[names[0]][1] * y[names[0]][1]
        else:
            a, b = names
            high = 1 - x[a][0] * x[b][0] / x[""][0]
            rows = [np.array([y[n]]) for n in names]
            low = both(rows[0], rows[1], np.array(y[""]), ("normal", "low", "high"))[0][1]
            joint[names] = p * high * low
    raw_x = 0.25 + 0.5 * sum(weight[n] * p for n, p in {"a": 0.9, "b": 0.4, "c": 0.1}.items()) / 0.95
    raw_y = 0.5 / 3 + 0.5 * sum(weight[n] * p for n, p in {"a": 0.02, "b": 0.8, "c": 0.1}.items()) / 0.95
    joint[("",)] = 0.05 * (raw_x * (1 - NEVER) + NEVER / 2) * (raw_y * (1 - NEVER) + NEVER / 3)
    every = sum(joint.values())
    for names, mass in joint.items():
        if len(names) == 2:
            assert ranking.pairs()[names] == pytest.approx(mass / every, rel=1e-9)
    for name in CAUSES:
        share = sum(m / len(names) for names, m in joint.items() if name in names) / every
        assert ranking.shares()[name] == pytest.approx(share, rel=1e-9)
        assert ranking.present()[name] == pytest.approx(sum(m for n, m in joint.items() if name in n) / every, rel=1e-9)
    assert ranking.shares()[NONE_OF_THESE] == pytest.approx(joint[("",)] / every, rel=1e-9)


def test_the_order_of_observations_does_not_matter() -> None:
    model = build(bundled_table("no-water-level"))
    some = [seen("fill-time", "none"), seen("water-at-give-up", "low"), seen("chassis-reference", "normal")]
    assert rank(model, some).belief == pytest.approx(rank(model, some[::-1]).belief)


def test_what_the_table_does_not_know_changes_nothing_and_is_told() -> None:
    model = build(made(CAUSES, SEEN))
    odd = [seen("z", "high"), seen("x", "intermittent")]
    ranking = rank(model, odd)
    assert ranking.belief == pytest.approx(model.prior)
    assert ranking.ignored == tuple(odd)


def test_a_reading_on_its_limit_tells_nothing_where_both_sides_are_alike() -> None:
    """With both sides equally likely the factor is the mean of both outcomes' chances: between the two."""
    model = build(made(CAUSES, SEEN))
    clear = [rank(model, [seen("x", o)]).shares()["a"] for o in ("normal", "high")]
    half = rank(model, [Evidence("x", {"normal": 0.5, "high": 0.5})]).shares()["a"]
    assert clear[0] < half < clear[1]
    assert half == pytest.approx(rank(model, []).shares()["a"])


def test_a_reading_counts_by_its_probability() -> None:
    far = sides(1.0, 0.1, None, 2.0)
    near = sides(1.9, 0.1, None, 2.0)
    assert far["high"] < 1e-12
    assert near["high"] == pytest.approx(0.158655, abs=1e-6)  # one standard uncertainty: the normal table
    assert sum(near.values()) == pytest.approx(1.0)
    assert sides(5.0, 0.0, 4.0, 5.0)["normal"] == 1.0
    assert sides(3.9, 0.0, 4.0, 5.0)["low"] == 1.0


def test_low_and_none_stand_for_each_other_where_one_alone_is_told() -> None:
    assert known({"none": 1.0}, ("normal", "low")) == {"low": 1.0}
    assert known({"low": 0.4, "normal": 0.2}, ("normal", "none")) == {"none": 1.0, "normal": 0.5}
    assert known({"high": 1.0}, ("normal", "low")) == {}


def test_now_normal_now_not_is_intermittent() -> None:
    twice = [seen("x", "none", "0 V"), seen("x", "normal", "24 V")]
    (one,) = one_each(twice)
    assert one.outcome == "intermittent"
    assert "0 V" in one.words and "24 V" in one.words
    assert known(one.weights, ("normal", "none"))["none"] == 1.0
    (same,) = one_each([seen("x", "low"), seen("x", "low")])
    assert same.outcome == "low"


def test_two_readings_near_a_limit_are_not_intermittent() -> None:
    near = [Evidence("x", {"normal": p, "high": 1.0 - p}) for p in (0.8, 0.3)]
    assert one_each(near)[0].weights == near[1].weights
    apart = [seen("x", "normal"), seen("x", "high")]
    assert one_each(apart)[0].outcome == "intermittent"


def test_an_intermittent_joint_is_told_from_a_steady_one() -> None:
    table = bundled_table("no-water-level")
    ranking = rank(build(table), [seen("fill-lead", "normal"), seen("fill-lead", "high")])
    assert next(iter(ranking.shares())) == "lead-high-ohm"


@pytest.mark.parametrize("cause", ["filter-choked", "probe-coated", "coil-open", "vent-valve-shut"])
def test_what_is_typical_of_a_cause_puts_it_first(cause: str) -> None:
    table = bundled_table("no-water-level")
    typical: list[Evidence] = []
    for name, observed in table.observations.items():
        row, _ = table.row(name, cause)
        outcome: Outcome = max(observed.outcomes, key=row.of)
        typical.append(seen(name, outcome))
    ranking = rank(build(table), typical)
    assert next(iter(ranking.shares())) == cause
    assert ranking.shares()[cause] > 0.95


def test_two_causes_are_found_together() -> None:
    table = bundled_table("no-water-level")
    model = build(table)
    found = [
        seen("chassis-reference", "high"),
        seen("coil-resistance", "none"),
        seen("fill-current-from-bench", "none"),
        seen("resistor-for-water", "none"),
        seen("fill-supply-loaded", "normal"),
    ]
    pair, chance = next(iter(rank(model, found).pairs().items()))
    assert set(pair) == {"coil-open", "ground-open"}
    assert chance > 0.5


def test_a_cured_cause_is_taken_out_and_its_partner_stays() -> None:
    """Before the repair two causes showed; after it the complaint stays, and only what the other explains is seen."""
    table = bundled_table("no-water-level")
    model = build(table)
    before = [seen("coil-resistance", "none"), seen("fill-current-from-bench", "none"), seen("fill-time", "none")]
    assert next(iter(rank(model, before).shares())) == "coil-open"
    cured = frozenset({"coil-open"})
    after = [
        Evidence("fill-time", {"none": 1.0}, cured=cured),
        Evidence("coil-resistance", {"normal": 1.0}, cured=cured),
        Evidence("water-at-give-up", {"high": 1.0}, cured=cured),
        Evidence("chassis-reference", {"high": 1.0}, cured=cured),
    ]
    ranking = rank(model, [*before, *after], cured)
    assert next(iter(ranking.shares())) == "ground-open"
    assert ranking.shares()["ground-open"] > 0.8


def test_a_cured_cause_alone_keeps_what_repairs_that_do_not_take_leave_it() -> None:
    model = build(made({"a": 0.5, "b": 0.5}, SEEN))
    ranking = rank(model, [], ["a"])
    assert ranking.shares()["a"] == pytest.approx(REPAIR_FAILS / (1 + REPAIR_FAILS))
