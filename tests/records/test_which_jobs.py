"""Lists of jobs leave out what is not asked for without reading it, and say the same as a list of all would."""

from __future__ import annotations

import pytest
from shop import LEAD, QA, RULES, TECH, Shop

from rig.records import job as jobs
from rig.records import moves
from rig.records.facts import Corrected, Shipped
from rig.records.job import jobs_of
from rig.records.release import release


@pytest.fixture
def four(shop: Shop) -> dict[str, str]:
    """By what happened to it, the job: one shipped, the same unit again, another, one whose serial was wrong."""
    shop.ready()
    release(shop.store, shop.job, shop.standing, QA)
    moves.ship(shop.store, shop.job, Shipped("parcel"), TECH, shop.today)
    found = {"shipped": shop.job}
    for name, serial in (("again", " lm-0042"), ("open", "LM-0007"), ("wrong", "LM-0070")):
        shop.receive(serial)
        found[name] = shop.job
    (entry, *_) = jobs.job_of(shop.store, shop.job).entries
    moves.correct(shop.store, shop.job, Corrected(entry.id, "serial", "LM-0008", "misread"), RULES, LEAD)
    return found


def test_all_and_those_that_are_open(shop: Shop, four: dict[str, str]) -> None:
    everything = list(jobs_of(shop.store))
    assert [job.number for job in everything] == list(four.values())
    assert list(jobs_of(shop.store, still_open=True)) == [job for job in everything if not job.closed]
    assert [job.number for job in everything if job.closed] == [four["shipped"]]


@pytest.mark.parametrize(
    ("serial", "names"),
    [("LM-0042", ["shipped", "again"]), ("LM-0007", ["open"]), ("lm-0008", ["wrong"]), ("LM-0070", []), ("", [])],
)
def test_those_of_one_unit(shop: Shop, four: dict[str, str], serial: str, names: list[str]) -> None:
    assert [job.number for job in jobs_of(shop.store, serial=serial)] == [four[name] for name in names]


def test_what_is_not_asked_for_is_not_read(shop: Shop, four: dict[str, str], monkeypatch: pytest.MonkeyPatch) -> None:
    read, numbers = jobs.read_job, []
    monkeypatch.setattr(jobs, "read_job", lambda c, number: numbers.append(number) or read(c, number))
    list(jobs_of(shop.store, still_open=True))
    assert numbers == [four[name] for name in ("again", "open", "wrong")]
    numbers.clear()
    list(jobs_of(shop.store, serial="LM-0007", still_open=True))
    assert numbers == [four["open"]]
