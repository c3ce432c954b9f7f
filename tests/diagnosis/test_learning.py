"""What the shop confirms moves chances as Dirichlet counts do, fades, can be withdrawn, and tells where it is from."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from rig.diagnosis.evidence import Evidence, seen
from rig.diagnosis.learn import HALF_LIFE, Case, Knowledge, Simulated
from rig.diagnosis.model import build
from rig.diagnosis.rank import rank
from rig.diagnosis.unit_table import NONE_OF_THESE
from rig.plan.causes import OUTCOMES
from tests.small_tables import bundled_table, made

NOW = datetime(2026, 6, 1, tzinfo=UTC)
TABLE = made(
    {"a": 0.6, "b": 0.3},
    {"x": {"healthy": {"high": 0.1}, "given": {"a": {"high": 0.8}, "b": {"high": 0.2}}}},
    none=0.1,
)


def case(
    cause: str, *found: Evidence, days: float = 0.0, unit: str = "", withdrawn: bool = False, number: int = 0
) -> Case:
    when = NOW - timedelta(days=days)
    return Case(f"case-{number}", when, unit, "small", tuple(cause.split()), found, withdrawn)


def test_dirichlet_counts_over_a_flat_start_are_the_textbooks() -> None:
    """Dir(1, 1, 1) and 3, 0, 7 counts: 4/13, 1/13, 8/13 (conjugate updating)."""
    third = 1 / 3
    table = made({"a": third, "b": third, "c": third}, {"x": {"given": {"a": {"high": 0.5}}}})
    table.table.__dict__["starts_count_as"] = 3.0
    some = tuple(case(c) for c in ["a"] * 3 + ["c"] * 7)
    start = Knowledge(some, now=NOW).start(table)
    assert [start[c] for c in ("a", "b", "c")] == pytest.approx([4 / 13, 1 / 13, 8 / 13])


def test_starting_chances_and_rows_move_by_their_counts() -> None:
    shop = Knowledge(tuple(case("b", seen("x", "high")) for _ in range(10)), now=NOW)
    start = shop.start(TABLE)
    assert start["b"] == pytest.approx((20 * 0.3 + 10) / 30)
    assert sum(start.values()) == pytest.approx(1.0)
    (row,) = shop.degrees(TABLE)["x", "b"]
    assert row == pytest.approx([(10 * 0.8 + 0) / 20, (10 * 0.2 + 10) / 20])
    assert ("x", "a") not in shop.degrees(TABLE)


def test_a_soft_reading_counts_in_parts() -> None:
    shop = Knowledge((case("a", Evidence("x", {"normal": 0.25, "high": 0.75})),), now=NOW)
    (row,) = shop.degrees(TABLE)["x", "a"]
    assert row == pytest.approx([(10 * 0.2 + 0.25) / 11, (10 * 0.8 + 0.75) / 11])


def test_old_cases_fade() -> None:
    old = Knowledge((case("b", days=HALF_LIFE),), now=NOW).start(TABLE)
    assert old["b"] == pytest.approx((20 * 0.3 + 0.5) / 20.5)


def test_a_withdrawn_case_and_one_of_another_profile_do_not_count() -> None:
    for one in (case("b", withdrawn=True), case("b", unit="demo-24-dc")):
        assert Knowledge((one,), now=NOW).start(TABLE) == pytest.approx(TABLE.start())


def test_two_causes_count_half_each_and_teach_no_rows() -> None:
    shop = Knowledge((case("a b", seen("x", "high")),), now=NOW)
    assert shop.found(TABLE) == {"a": 0.5, "b": 0.5, NONE_OF_THESE: 0.0}
    assert shop.degrees(TABLE) == {}


def test_what_the_table_does_not_know_is_counted_as_none_of_these() -> None:
    assert Knowledge((case("mouse-nest"),), now=NOW).start(TABLE)[NONE_OF_THESE] == pytest.approx((20 * 0.1 + 1) / 21)


def test_it_says_how_much_comes_from_where() -> None:
    counts = {("x", "a"): np.zeros((1, len(OUTCOMES)))}
    counts["x", "a"][0, OUTCOMES.index("high")] = 20.0
    knowledge = Knowledge((case("a", seen("x", "high")),), Simulated("", "small", counts, 1), NOW)
    assert knowledge.parts(TABLE)["a"].as_dict() == {
        "start": pytest.approx(20 / 21), "simulation": 0.0, "shop": pytest.approx(1 / 21), "kind": "estimate",
    }  # fmt: skip
    parts = knowledge.row_parts(TABLE, "x", "a")
    assert (parts.start, parts.simulation, parts.shop) == (10, 20, 1)
    (row,) = knowledge.degrees(TABLE)["x", "a"]
    assert row[1] == pytest.approx((10 * 0.8 + 20 + 1) / 31)


def test_degrees_keep_what_hangs_together_together() -> None:
    """Half of the units show both, half show neither: seeing one without the other speaks against the cause."""
    half = np.zeros((2, len(OUTCOMES)))
    half[0, OUTCOMES.index("normal")] = half[1, OUTCOMES.index("high")] = 500.0
    flat = {"given": {"a": {"high": 0.5}, "b": {"high": 0.5}}}
    table = made({"a": 0.5, "b": 0.5}, {"x": flat, "y": flat})
    knowledge = Knowledge(simulated=Simulated("", "small", {("x", "a"): half, ("y", "a"): half}, 2))
    model = build(table, knowledge.degrees(table))
    odd = rank(model, [seen("x", "high"), seen("y", "normal")]).shares()
    even = rank(model, [seen("x", "high"), seen("y", "high")]).shares()
    assert odd["a"] < 0.35 < 0.6 < even["a"]


def test_a_shop_that_finds_one_cause_often_believes_it_sooner() -> None:
    table = bundled_table("no-water-level")
    some = tuple(
        Case(f"c{n}", NOW, "demo-18-dc", "no-water-level", ("weep-hole-blocked",), (seen("flow-from-bench", "none"),))
        for n in range(30)
    )
    found = [seen("flow-from-bench", "none"), seen("fill-current-from-bench", "normal")]
    before = rank(build(table), found).shares()["weep-hole-blocked"]
    shop = Knowledge(some, now=NOW)
    after = rank(build(table, shop.degrees(table), shop.start(table)), found).shares()["weep-hole-blocked"]
    assert after > 2 * before
