"""Only an approved profile judges, and no limit from a standard that was never looked up."""

from __future__ import annotations

import pytest
from small_shop import Shop

from rig.judgement.standards import UNREAD, named, withheld
from rig.plan.plan import make_plan

APPROVED = 'approved: {revision: "1", by: nobody real, on: "2026-01-12"}\n'
STANDARD = "approved-standards: [{standard: EN 13060, edition: 2014+A1:2018, by: nobody real, on: '2026-01-12'}]\n"


def why_not(shop: Shop, step: str) -> str:
    plan = make_plan(shop.load("procedure"), shop.load("profile"), shop.load("bench"))
    (found,) = [s for stage in plan.procedure.stages for s in stage.steps if s.step == step]
    limit = plan.limit(found)  # type: ignore[arg-type]
    assert limit is not None
    return limit.withheld


def test_an_approved_profile_judges(shop: Shop) -> None:
    assert why_not(shop, "coil") == ""
    assert why_not(shop, "ambient") == ""


def test_a_profile_that_nobody_approved_does_not(shop: Shop) -> None:
    bare = shop.change(APPROVED, "")
    assert "is not approved" in why_not(bare, "coil")
    assert why_not(bare, "ambient") == ""  # the procedure's own limit


def test_an_approval_is_of_one_revision(shop: Shop) -> None:
    assert "approved in revision 0, not 1" in why_not(
        shop.change('approved: {revision: "1"', 'approved: {revision: "0"'), "coil"
    )


def test_a_standard_from_memory_judges_only_when_it_is_approved_by_name_and_edition(shop: Shop) -> None:
    cites = shop.change("coil: {nominal: 57.6 Ohm, within: 15 %, source: invented}",
                        "coil: {nominal: 57.6 Ohm, within: 15 %, source: 'EN 13060:2014, 4.6.2'}")  # fmt: skip
    assert "EN 13060 (small steam sterilizers) is cited from memory" in why_not(cites, "coil")
    approved = cites.change(APPROVED, APPROVED + STANDARD)
    assert why_not(approved, "coil") == ""
    later = approved.change("EN 13060:2014, 4.6.2", "EN 13060:2025, 4.6.2")
    assert "in edition 2014+A1:2018, not 2025" in why_not(later, "coil")


def test_a_limit_of_the_procedure_needs_the_approval_too(shop: Shop) -> None:
    cites = shop.change("at-most: 0.2 Ohm, source: invented", "at-most: 0.2 Ohm, source: 'IEC 61010-1, 6.5.2.4'")
    assert "IEC 61010-1" in why_not(cites, "earth")


@pytest.mark.parametrize(
    ("source", "names"),
    [
        ("IEC 62353:2014, table 2", ["IEC 62353"]),
        ("IEC 62353:2014, 5.3.2", []),
        ("IEC 62353:2014, 5.3.21", ["IEC 62353"]),
        ("EN 285:2015", ["EN 285"]),
        ("EN 2855", []),
        ("IEC 61010-2-040 and IEC 61010-1", ["IEC 61010-2-040", "IEC 61010-1"]),
        ("DIN VDE 0701-0702:2008", ["DIN VDE 0701-0702"]),
        ("common practice, no source", []),
        ("IEC 60751:2022", []),
    ],
)
def test_which_sources_name_one(source: str, names: list[str]) -> None:
    assert [each.name for each in named(source)] == names


def test_every_standard_of_the_table_is_found_by_its_own_name() -> None:
    for each in UNREAD:
        assert each in named(f"{each.name}:2020, clause 9")
        assert withheld(f"{each.name}:2020", [(each.name, "2020")]) == ""
