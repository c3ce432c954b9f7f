"""The day on which a released unit is to be looked at again."""

from __future__ import annotations

from datetime import date

import pytest

from rig.plan.rules import NextCheck


@pytest.mark.parametrize(
    ("released", "months", "due"),
    [
        (date(2026, 3, 2), 12, date(2027, 3, 2)),
        (date(2026, 12, 31), 2, date(2027, 2, 28)),
        (date(2028, 2, 29), 12, date(2029, 2, 28)),
        (date(2026, 11, 30), 1, date(2026, 12, 30)),
        (date(2026, 12, 1), 120, date(2036, 12, 1)),
    ],
)
def test_so_many_months_later_or_the_last_day_of_a_shorter_one(released: date, months: int, due: date) -> None:
    assert NextCheck(months=months, because="a rule").due(released) == due
