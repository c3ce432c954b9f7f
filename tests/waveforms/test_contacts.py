"""A contact's record: first contact and chatter, each within its uncertainty, whatever the contact did."""

from __future__ import annotations

import math
import random

import pytest

from rig.waveforms.contacts import changes, chatter, first_contact

EVERY = 0.1


def record(flips: list[float], seconds: float = 10.0, phase: float = 0.0) -> tuple[list[float], list[float]]:
    """Looks at a contact that is open first and changes at each of ``flips``."""
    times = [phase + EVERY * k for k in range(round(seconds / EVERY))]
    return times, [float(sum(flip <= t for flip in flips) % 2) for t in times]


def test_by_hand() -> None:
    """Closed at 3.02, open at 3.32, closed at 3.57: seen between 3.0 and 3.1, and between 3.5 and 3.6."""
    times, values = record([3.02, 3.32, 3.57])
    assert changes(times, values).ravel().tolist() == pytest.approx([3.0, 3.1, 3.3, 3.4, 3.5, 3.6])
    first, found = first_contact(times, values), chatter(times, values, slack=0.01)
    assert (first.value, first.u) == pytest.approx((3.05, 0.05 / math.sqrt(3)))
    assert (found.value, found.u) == pytest.approx((0.5, 0.06 * math.sqrt(2) / math.sqrt(3)))
    assert found.remark == "2 changes or more after the first contact"


def test_a_contact_that_stays_chatters_for_less_than_a_look() -> None:
    times, values = record([3.02])
    found = chatter(times, values)
    assert (found.value, found.u) == pytest.approx((0.0, 0.1 / math.sqrt(3)))
    assert found.remark == ""
    # what came and went between two looks lies within it
    times, values = record([3.02, 3.04, 3.07])
    assert chatter(times, values).value == 0.0
    assert math.sqrt(3) * chatter(times, values).u > 0.05


def test_a_contact_that_is_open_at_the_end_says_so() -> None:
    assert "open at the end" in chatter(*record([3.02, 5.0])).remark


@pytest.mark.parametrize("seed", range(40))
def test_the_truth_lies_within(seed: int) -> None:
    """Chatter slower than the looks: both edges are rectangular, so that the error never exceeds both half widths."""
    source = random.Random(seed)
    flips = [source.uniform(1.0, 3.0)]
    for _ in range(2 * source.randint(0, 6)):
        flips.append(flips[-1] + source.uniform(1.1 * EVERY, 0.6))
    times, values = record(flips, 12.0, source.uniform(0.0, EVERY))
    first, found = first_contact(times, values), chatter(times, values)
    assert abs(first.value + times[0] - flips[0]) <= EVERY / 2 + 1e-9
    assert abs(found.value - (flips[-1] - flips[0])) <= EVERY + 1e-9
    assert len(changes(times, values)) == len(flips)


@pytest.mark.parametrize(
    ("times", "values", "says"),
    [
        (*record([]), "did not close"),
        (*record([-1.0]), "closed when the record began"),
        ([0.0, 0.1], [0.0, 1.0], "8 finite points"),
        ([0.1 * k for k in range(9)] + [0.5], [0.0] * 10, "must rise"),
        ([0.1 * k for k in range(10)], [0.0] * 9 + [math.nan], "finite"),
    ],
)
def test_a_record_that_does_not_show_it(times: list[float], values: list[float], says: str) -> None:
    with pytest.raises(ValueError, match=says):
        chatter(times, values)
