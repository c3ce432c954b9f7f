"""A file that is put in force anew names the open jobs that stand on it."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from shop import Shop

from rig.records.facts import FileApproved
from rig.records.touched import jobs_touched


@pytest.fixture
def shop(url: str, monkeypatch: pytest.MonkeyPatch) -> Iterator[Shop]:
    made = Shop.opened(url, "workshop", monkeypatch)
    yield made
    made.store.close()


def touched(shop: Shop, kind: str, name: str) -> list[str]:
    return [job.number for job in jobs_touched(shop.store, FileApproved(kind, name, "2", "new"))]


def test_a_profile_touches_the_units_that_have_it_and_a_procedure_those_that_ran_it(shop: Shop) -> None:
    first = shop.receive("LM-0001")
    second = shop.receive("LM-0002")
    shop.papers()
    shop.run("incoming-inspection", serial="LM-0002")
    assert touched(shop, "unit-profile", "demo-18-dc") == [first, second]
    assert touched(shop, "unit-profile", "demo-24-dc") == []
    assert touched(shop, "procedure", "incoming-inspection") == [second]
    assert touched(shop, "bench", "bench-2") == [second]
    assert touched(shop, "procedure", "final-inspection") == []
