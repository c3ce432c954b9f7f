"""Adjustments as found and as left; indicators with lot, expiry and reader, whose results come when they come."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from rig.errors import InputError, RuleError
from rig.limits import Verdict
from rig.records import indicators, moves
from rig.records.declared import declared
from rig.records.facts import Adjusted, Conceded, IndicatorPlaced, IndicatorRead, Shipped
from rig.records.job import job_of
from rig.records.ledger import Kept
from rig.records.release import release, what_is_missing
from tests.records.shop import BOTH, LEAD, QA, RULES, TECH, Shop

FULL = Adjusted("temperature-sensor", "Cel", 134.0, 135.2, 134.1, "offset from 0 to -1.1 K", "Pt100 T4")


def place(shop: Shop, label: str, expires: str = "2027-03-31", lot: str = "2231") -> Kept:
    return indicators.place(shop.store, shop.job, IndicatorPlaced(label, "chemical", lot, expires), TECH, shop.today)


def read(shop: Shop, label: str, result: str, on: str = "") -> Kept:
    fact = IndicatorRead(label, result, "A. Bench", on or shop.today.isoformat())
    return indicators.read(shop.store, shop.job, fact, TECH, shop.today)


def missing(shop: Shop) -> tuple[str, ...]:
    with shop.store.reading() as connection:
        return what_is_missing(connection, shop.job, shop.standing, QA)


@pytest.fixture
def ready(url: str, monkeypatch: pytest.MonkeyPatch) -> Shop:
    """Everything that a release needs is on record."""
    shop = Shop.opened(url, "workshop", monkeypatch)
    shop.ready()
    assert missing(shop) == ()
    return shop


def test_a_unit_is_not_released_before_its_indicator_is_read_and_is_then(ready: Shop) -> None:
    place(ready, "CI-1")
    assert missing(ready) == ("chemical indicator CI-1, lot 2231: no result yet",)
    read(ready, "CI-1", "pass")
    assert missing(ready) == ()


def test_one_that_failed_is_closed_by_work_and_another_that_passed_and_by_nothing_else(ready: Shop) -> None:
    place(ready, "CI-1")
    read(ready, "CI-1", "fail")
    place(ready, "CI-2")
    read(ready, "CI-2", "pass")
    assert any("CI-1, lot 2231: fail" in text for text in missing(ready))
    fact = Conceded("indicator:CI-1", "the other one was good", "2026-12-31")
    with pytest.raises(RuleError) as refused:
        moves.concede(ready.store, ready.job, fact, RULES, LEAD, declared(ready.store), ready.today)
    assert "is a safety step" in refused.value.missing[0]
    ready.repair()
    ready.tested()
    assert any("CI-1, lot 2231: fail" in text for text in missing(ready))
    place(ready, "CI-3")
    read(ready, "CI-3", "pass")
    assert missing(ready) == ()


def test_a_result_that_comes_after_the_unit_has_left_is_kept_and_counts_against_it(ready: Shop) -> None:
    place(ready, "CI-1")
    read(ready, "CI-1", "pass")
    release(ready.store, ready.job, ready.standing, QA)
    moves.ship(ready.store, ready.job, Shipped("parcel"), TECH, ready.today)
    read(ready, "CI-1", "fail")
    job = job_of(ready.store, ready.job)
    assert job.stage == "shipped"
    assert [(kept.seq, fact.label, again) for kept, fact, again in indicators.failed(job)] == [
        (job.entries[-1].seq, "CI-1", False)
    ]
    with pytest.raises(RuleError) as refused:
        place(ready, "CI-2")
    assert "the job is closed: shipped" in refused.value.missing


def test_a_result_after_the_release_asks_for_a_new_one(ready: Shop) -> None:
    place(ready, "CI-1")
    read(ready, "CI-1", "pass")
    release(ready.store, ready.job, ready.standing, QA)
    read(ready, "CI-1", "pass")
    assert job_of(ready.store, ready.job).release is None


@pytest.mark.parametrize(
    ("act", "words"),
    [
        (lambda shop: place(shop, "CI-9", expires="2026-03-01"), "lot 2231 expired on 2026-03-01"),
        (lambda shop: place(shop, "CI-1"), "indicator CI-1 is on record already"),
        (lambda shop: read(shop, "CI-7", "pass"), "no indicator 'CI-7' was placed"),
        (lambda shop: read(shop, "CI-1", "pass", "2026-01-01"), "it was not read on 2026-01-01"),
        (lambda shop: read(shop, "CI-2", "pass"), "with a fail, which stands"),
    ],
)
def test_what_cannot_be_is_refused(ready: Shop, act: Callable[[Shop], Kept], words: str) -> None:
    place(ready, "CI-1")
    place(ready, "CI-2")
    read(ready, "CI-2", "fail")
    before = job_of(ready.store, ready.job).entries
    with pytest.raises(RuleError) as refused:
        act(ready)
    assert any(words in reason for reason in refused.value.missing)
    assert job_of(ready.store, ready.job).entries == before


def test_words_that_mean_nothing_are_refused(ready: Shop) -> None:
    fact = IndicatorPlaced("CI-1", "chemcal", "1", "2027-01-01")
    with pytest.raises(InputError, match="no kind of indicator 'chemcal'"):
        indicators.place(ready.store, ready.job, fact, TECH, ready.today)
    with pytest.raises(InputError, match="has a label and a lot"):
        place(ready, "CI-1", lot=" ")
    place(ready, "CI-1")
    with pytest.raises(InputError, match="pass or fail"):
        read(ready, "CI-1", "green")


def test_an_adjustment_is_kept_as_found_and_as_left_and_what_was_tested_before_counts_no_more(ready: Shop) -> None:
    indicators.adjust(ready.store, ready.job, FULL, TECH)
    found = job_of(ready.store, ready.job).last(Adjusted)
    assert found is not None
    assert found[1] == FULL
    assert "final-inspection: no run after the last adjustment" in missing(ready)
    ready.tested()
    assert missing(ready) == ()


@pytest.mark.parametrize(
    ("field", "value"), [("unit", "Celsiuss"), ("as_left", float("nan")), ("reference", ""), ("adjusted", " ")]
)
def test_half_an_adjustment_is_refused(ready: Shop, field: str, value: str | float) -> None:
    with pytest.raises(InputError):
        indicators.adjust(ready.store, ready.job, Adjusted(**{**vars(FULL), field: value}), TECH)


def test_who_adjusted_a_unit_does_not_release_it(ready: Shop) -> None:
    indicators.adjust(ready.store, ready.job, FULL, BOTH)
    ready.tested()
    assert missing(ready) == ()
    with ready.store.reading() as connection:
        against = what_is_missing(connection, ready.job, ready.standing, BOTH)
    assert against == (f"{BOTH.name} has adjusted this unit: somebody else releases it",)


def test_a_step_that_failed_and_passes_after_an_adjustment_is_no_finding_any_more(ready: Shop) -> None:
    ready.run("final-inspection", {"hold-temperature": Verdict.FAIL})
    ready.run("final-inspection")
    assert any("open finding: hold-temperature" in text for text in missing(ready))
    indicators.adjust(ready.store, ready.job, FULL, TECH)
    ready.tested()
    assert missing(ready) == ()
