"""A sample of what ``tests.benchmarks.final_inspection`` does at length: every fault that travels with a unit, once."""

from __future__ import annotations

import pytest

from simulators.plant import FAULTS
from tests.benchmarks.final_inspection import MUST_SEE, UNITS, cells, verdict_of

TRAVELS = [name for name, fault in FAULTS.items() if not fault.site]


@pytest.mark.parametrize("number", range(len(TRAVELS)), ids=TRAVELS)
def test_no_unit_passes_with_a_fault_in_it(number: int) -> None:
    """Each on the next of the units that can have it, and another made unit each time; by hand, which is the quickest
    bench and sees the least."""
    able = list(cells([TRAVELS[number]], [MUST_SEE], list(UNITS)))
    passed, step = verdict_of(("final-inspection", "simulated-hand-meter"), able[number % len(able)], seed=300 + number)
    assert not passed
    assert step
    assert "(" not in step, "a step without a reading is no finding"
