"""The ruler never contradicts the verdict."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rig.cli.looks import Looks
from rig.limits import Limit, Verdict, judge
from rig.shown.ruler import CELLS, Zone, ruler

INSIDE = (Zone.IN, Zone.IN_GUARD)
numbers = st.floats(-1e12, 1e12, allow_nan=False)
spreads = st.floats(0, 1e12, allow_nan=False)


@st.composite
def limits(draw: st.DrawFn) -> Limit:
    kind = draw(st.sampled_from(["least", "most", "both"]))
    a, b = sorted((draw(numbers), draw(numbers)))
    return Limit(a if kind != "most" else None, b if kind != "least" else None, "V", "x")


@given(value=numbers, u=spreads, limit=limits())
def test_the_mark_is_where_the_verdict_says(value: float, u: float, limit: Limit) -> None:
    found = ruler(value, u, limit)
    zone = found.zones[found.mark]
    inside = (limit.at_least is None or value >= limit.at_least) and (limit.at_most is None or value <= limit.at_most)
    assert (zone in INSIDE) == inside
    expected = {
        Verdict.PASS: Zone.IN,
        Verdict.CONDITIONAL_PASS: Zone.IN_GUARD,
        Verdict.CONDITIONAL_FAIL: Zone.OUT_GUARD,
        Verdict.FAIL: Zone.OUT,
    }
    assert zone is expected[judge(value, u, limit).verdict]


@given(value=numbers, u=spreads, limit=limits())
def test_its_shape(value: float, u: float, limit: Limit) -> None:
    found = ruler(value, u, limit)
    assert len(found.zones) == CELLS
    assert 0 <= found.mark < CELLS
    assert found.zones.count(Zone.END) == (limit.at_least is not None) + (limit.at_most is not None)
    assert found.off == 0 or found.mark == (0 if found.off < 0 else CELLS - 1)
    ends = [n for n, zone in enumerate(found.zones) if zone is Zone.END]
    low = ends[0] if limit.at_least is not None else -1
    high = ends[-1] if limit.at_most is not None else CELLS
    assert [zone in INSIDE for zone in found.zones] == [low < n < high for n in range(CELLS)]


@given(a=numbers, b=numbers, u=spreads, limit=limits())
def test_more_is_never_further_left(a: float, b: float, u: float, limit: Limit) -> None:
    if limit.at_least is None or limit.at_most is None:
        end = limit.at_least if limit.at_most is None else limit.at_most
        if end is not None and end <= 0 and u == 0:
            return  # nothing but the value itself gives such a ruler its scale
    low, high = sorted((a, b))
    assert ruler(low, u, limit).mark <= ruler(high, u, limit).mark


@given(value=numbers, u=spreads, limit=limits())
def test_the_other_way_round_is_the_mirror_image(value: float, u: float, limit: Limit) -> None:
    if limit.at_least is not None and limit.at_most is not None:
        turned = Limit(-limit.at_most, -limit.at_least, "V", "x")
        here, there = ruler(value, u, limit), ruler(-value, u, turned)
        assert [z in INSIDE for z in here.zones] == [z in INSIDE for z in reversed(there.zones)]
        assert here.off == -there.off


@pytest.mark.parametrize(
    ("value", "u", "limit", "drawn"),
    [
        (24.6, 0.01, Limit(20.4, 28.8, "V", "x"), "....|-----O-----|...."),
        (20.4, 0.01, Limit(20.4, 28.8, "V", "x"), "....|O---------~|...."),
        (19.4, 0.1, Limit(20.4, 28.8, "V", "x"), "..O.|-----------|...."),
        (14.1, 0.01, Limit(20.4, 28.8, "V", "x"), "<...|-----------|...."),
        (99.0, 0.01, Limit(20.4, 28.8, "V", "x"), "....|-----------|...>"),
        (0.1, 0.02, Limit(None, 0.2, "Ohm", "x"), "------O---~~~|:......"),
        (1.0, 0.01, Limit(2.0, None, "Ohm", "x"), "...O...|-------------"),
        (5.0, 0.5, Limit(4.9, 5.1, "V", "x"), ".:::|~~~~~O~~~~~|:::."),
    ],
)
def test_some_rulers(value: float, u: float, limit: Limit, drawn: str) -> None:
    found = ruler(value, u, limit)
    assert Looks(fancy=False).draw(found, judge(value, u, limit).verdict).plain == drawn


def test_what_is_no_number_has_no_ruler() -> None:
    for value in (math.nan, math.inf):
        with pytest.raises(ValueError, match="finite"):
            ruler(value, 0.1, Limit(1.0, 2.0, "V", "x"))
