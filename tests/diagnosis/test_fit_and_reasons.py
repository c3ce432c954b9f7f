"""The model says when it is contradicted, and why it believes what it believes."""

from __future__ import annotations

import pytest

from rig.diagnosis.evidence import Evidence, seen
from rig.diagnosis.fit import fit
from rig.diagnosis.model import build
from rig.diagnosis.rank import rank
from rig.diagnosis.sentences import reasons
from rig.diagnosis.unit_table import UnitTable
from tests.small_tables import bundled_table

COMPLAINTS = ["no-water-level", "slow-heat", "wet-or-leaking"]


def typical(table: UnitTable, cause: str) -> list[Evidence]:
    return [
        seen(name, max(observed.outcomes, key=table.row(name, cause)[0].of))
        for name, observed in table.observations.items()
    ]


@pytest.mark.parametrize("complaint", COMPLAINTS)
def test_what_is_typical_of_any_cause_fits(complaint: str) -> None:
    table = bundled_table(complaint)
    model = build(table)
    for cause in table.causes:
        found = fit(rank(model, typical(table, cause)))
        assert found.fits, (cause, found)


@pytest.mark.parametrize("complaint", COMPLAINTS)
def test_everything_abnormal_at_once_fits_nothing(complaint: str) -> None:
    table = bundled_table(complaint)
    found = [seen(n, o.outcomes[1]) for n, o in table.observations.items()]
    how = fit(rank(build(table), found))
    assert not how.fits
    assert "does not fit" in how.words
    assert how.against


def test_contradictory_observations_are_named() -> None:
    """Water covers the probe, and none came; the coil is open, and takes its full current."""
    table = bundled_table("no-water-level")
    found = [
        seen("water-at-give-up", "high"),
        seen("flow-from-bench", "none"),
        seen("coil-resistance", "none"),
        seen("fill-current-from-bench", "normal"),
        seen("fill-current-from-board", "normal"),
        seen("plunger-dip", "normal"),
        seen("wet-probe-resistance", "normal"),
        seen("chassis-reference", "normal"),
        seen("resistor-for-water", "normal"),
        seen("water-conductivity", "normal"),
    ]
    how = fit(rank(build(table), found))
    assert not how.fits
    assert how.conflict > 0
    assert {e.observation for e in how.against} & {"coil-resistance", "flow-from-bench", "water-at-give-up"}


def test_nothing_seen_contradicts_nothing() -> None:
    assert fit(rank(build(bundled_table("slow-heat")), [])).fits


def test_reasons_name_what_was_seen_and_count_units() -> None:
    table = bundled_table("no-water-level")
    ranking = rank(
        build(table), [seen("coil-resistance", "none", "open circuit"), seen("fill-lead", "normal", "0.2 Ohm")]
    )
    why = reasons(ranking)
    assert any("coil resistance" in s and "open circuit" in s and "in 100 units" in s for s in why["coil-open"].for_)
    assert any("lead" in s for s in why["lead-high-ohm"].against)
    assert not why["coil-open"].against
