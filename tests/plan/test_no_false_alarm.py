"""No shipped procedure is accused on any shipped bench with any shipped unit, and none of its limits is too fine for
the instruments there."""

from __future__ import annotations

from itertools import product

import pytest

from rig.limits import GUARDED
from rig.plan.load import bundled, load_named
from rig.plan.proof import prove, warn
from rig.plan.proof_ratio import ratios
from rig.plan.view import make_view

EVERY = list(product(bundled("procedure"), bundled("bench")))


@pytest.mark.parametrize(("procedure", "bench"), EVERY, ids=["-".join(each) for each in EVERY])
def test_no_fault_no_warning_and_ratios_worth_having(procedure: str, bench: str) -> None:
    for unit in bundled("unit-profile"):
        files = (load_named("procedure", procedure), load_named("unit-profile", unit), load_named("bench", bench))
        assert prove(*files) == []
        assert warn(*files) == []
        known = [each.ratio for each in ratios(make_view(*files)) if each.ratio is not None]
        assert all(ratio >= GUARDED.least_ratio for ratio in known)


@pytest.mark.parametrize("procedure", ["fill-diagnosis", "final-inspection"])
def test_a_seat_that_weeps_is_weighed_well_enough(procedure: str) -> None:
    """Ten minutes of 0.3 g/min are 3 g; the error of the cell goes no further than 0.15 g meanwhile. By hand: the
    slope of an error that stays within 0.15 g is 3/2 of that over 600 s at most."""
    for bench in bundled("bench"):
        files = (
            load_named("procedure", procedure),
            load_named("unit-profile", "demo-18-dc"),
            load_named("bench", bench),
        )
        (found,) = (each for each in ratios(make_view(*files)) if each.step == "seat-at-rest")
        assert found.expanded == pytest.approx(2.0 * 1.5 * 0.15 / 600.0 / 3.0**0.5)
        assert found.ratio == pytest.approx(5.0e-3 / 2.0 / found.expanded)
