"""What is proposed next: dead before live, covers paid once, owners only, two steps deep."""

from __future__ import annotations

import numpy as np
import pytest

from rig.diagnosis.advice import FOUND, advise
from rig.diagnosis.costs import cost
from rig.diagnosis.evidence import Evidence, seen
from rig.diagnosis.model import build
from rig.diagnosis.next_test import RATE_BEFORE_LIVE, WORTH_BEFORE_LIVE, information, propose
from rig.diagnosis.rank import rank
from rig.plan.causes import OUTCOMES, Outcome
from tests.small_tables import bundled_table, made

HALF = {"a": 0.5, "b": 0.5}


def tells(p: float, q: float, **more: object) -> dict[str, object]:
    return {"given": {"a": {"high": p}, "b": {"high": q}}, **more}


def test_information_is_the_mutual_information_by_enumeration() -> None:
    table = made(HALF, {"x": tells(0.9, 0.2)})
    model = build(table)
    joint = model.prior[:, None] * model.table_of("x")
    bits = sum(p * np.log2(p / (joint.sum(1)[i] * joint.sum(0)[j])) for (i, j), p in np.ndenumerate(joint) if p > 0)
    assert information(rank(model, []))["x"] == pytest.approx(float(bits))


def test_what_tells_causes_with_one_remedy_apart_tells_nothing() -> None:
    table = made(HALF, {"x": tells(0.99, 0.01)}, remedies={"a": "renew-valve", "b": "renew-valve"})
    assert propose(rank(build(table), [])) == ()


def test_nothing_live_is_proposed_while_something_dead_tells() -> None:
    quick = tells(0.99, 0.01, safety="board drives", **{"hands-on": 0.1})
    slow = tells(0.85, 0.15, **{"hands-on": 15.0})
    model = build(made(HALF, {"live": quick, "dead": slow}))
    assert [n.observation for n in propose(rank(model, []))] == ["dead"]
    after = rank(model, [seen("dead", "high")])
    assert [n.observation for n in propose(after)] == ["live"]


@pytest.mark.parametrize("complaint", ["no-water-level", "slow-heat", "wet-or-leaking"])
def test_no_path_through_the_bundled_tables_goes_live_too_early(complaint: str) -> None:
    """Whatever each observation shows: when something live is proposed, nothing dead was worth a look."""
    table = bundled_table(complaint)
    model = build(table)
    stream = np.random.default_rng(5)
    for _ in range(6):
        found: list[Evidence] = []
        while True:
            ranking = rank(model, found)
            best = propose(ranking, most=1)
            if not best:
                break
            name = best[0].observation
            if table.observations[name].safety == "board drives":
                told = information(ranking)
                had = {e.observation for e in found}
                for other, bits in told.items():
                    if other not in had and table.observations[other].safety != "board drives":
                        rate = bits / cost(table, other, ()).total
                        assert bits < WORTH_BEFORE_LIVE or rate < RATE_BEFORE_LIVE, (name, other)
                assert any("mains is live" in need for need in best[0].needs)
            outcomes = model.outcomes[name]
            found.append(seen(name, outcomes[stream.integers(len(outcomes))]))


def test_an_opened_cover_is_paid_once() -> None:
    covers = {"covers-off": {"title": "covers off", "hands-on": 10, "cover": True}}
    some = tells(0.9, 0.1, **{"set-ups": ["covers-off"]})
    model = build(made(HALF, {"x": some, "y": some}, set_ups=covers))
    shut = propose(rank(model, []))
    opened = propose(rank(model, []), paid=["covers-off"])
    assert shut[0].cost.minutes == 11
    assert opened[0].cost.minutes == 1
    assert "covers come off" in shut[0].why
    assert "off already" in opened[0].why


def test_two_steps_deep_a_shared_run_beats_what_tells_most_by_itself() -> None:
    """Two that share one run (each tells half of it) against one alone that tells a little more a minute at first."""
    causes = {"a": 0.25, "b": 0.25, "c": 0.25, "d": 0.25}
    run = {"run": {"title": "a run", "hands-on": 5}}
    first = {"given": {"a": {"high": 0.99}, "b": {"high": 0.99}}, "hands-on": 0.5, "set-ups": ["run"]}
    second = {"given": {"a": {"high": 0.99}, "c": {"high": 0.99}}, "hands-on": 0.5, "set-ups": ["run"]}
    alone = {"given": {"a": {"high": 0.95}, "b": {"high": 0.9}}, "hands-on": 4.5}
    model = build(made(causes, {"alone": alone, "first": first, "second": second}, set_ups=run))
    bits = information(rank(model, []))
    assert bits["alone"] / 4.5 < bits["first"] / 5.0 or bits["alone"] / 4.5 > bits["second"] / 5.5
    assert propose(rank(model, []))[0].observation in ("first", "second")


def test_owners_are_asked_nothing_that_takes_a_technician() -> None:
    table = bundled_table("no-water-level", "field")
    found: list[Evidence] = []
    model = build(table)
    while best := propose(rank(model, found), owner_only=True):
        for one in best:
            assert table.observations[one.observation].who == "owner"
            assert table.observations[one.observation].safety in ("ordinary care", "cold and open")
        found.append(seen(best[0].observation, "normal"))
    assert found


def test_what_was_seen_or_cannot_be_had_is_not_proposed_again() -> None:
    model = build(bundled_table("no-water-level"))
    first = propose(rank(model, []))[0].observation
    assert first not in [n.observation for n in propose(rank(model, [seen(first, "normal")]))]
    assert first not in [n.observation for n in propose(rank(model, []), unknown=[first])]


def test_the_reason_says_what_is_split_and_what_it_takes() -> None:
    one = propose(rank(build(bundled_table("no-water-level")), []))[0]
    assert one.observation == "water-at-give-up"
    assert "water side from the level side" in one.why
    assert "minutes" in one.why
    assert "covers stay on" in one.why


@pytest.mark.parametrize(("complaint", "cause"), [
    ("no-water-level", "coil-open"), ("no-water-level", "probe-coated"), ("slow-heat", "gasket-worn"),
    ("slow-heat", "heater-open"), ("wet-or-leaking", "fitting-leak"), ("wet-or-leaking", "valve-seat-passing"),
])  # fmt: skip
def test_following_the_advice_ends_at_the_remedy(complaint: str, cause: str) -> None:
    """A unit that answers as is typical of its cause: the advice leads to its remedy."""
    table = bundled_table(complaint)
    model = build(table)
    found: list[Evidence] = []
    opened: set[str] = set()
    for _ in range(len(table.observations)):
        advice = advise(rank(model, found), opened)
        if advice.do != "look":
            break
        name = advice.next[0].observation
        outcome: Outcome = max(model.outcomes[name], key=table.row(name, cause)[0].of)
        opened |= {s for s in table.observations[name].set_ups if table.table.set_ups[s].cover}
        found.append(seen(name, outcome))
    assert advice.do in ("found", "repair")
    assert advice.remedy == table.remedies[cause]
    assert len(found) < len(table.observations) / 2
    if advice.do == "found":
        assert advice.chance >= FOUND


def test_over_the_telephone_it_ends_with_something_to_try_or_the_workshop() -> None:
    table = bundled_table("no-water-level", "field")
    model = build(table)
    empty = advise(rank(model, [seen("reservoir-level", "low"), seen("rest-before-start", "normal")]), owner_only=True)
    assert (empty.do, empty.remedy) in (("try", "fill-to-mark"), ("look", None))
    every = [seen(n, "normal") for n, o in table.observations.items() if o.who == "owner" and n != "water-at-give-up"]
    last = advise(
        rank(
            model,
            [
                *every,
                seen("water-at-give-up", "none"),
            ],
        ),
        owner_only=True,
    )
    assert last.do == "book it in"
    assert "workshop" in last.words


def test_outcomes_keep_one_order() -> None:
    assert OUTCOMES[0] == "normal"
