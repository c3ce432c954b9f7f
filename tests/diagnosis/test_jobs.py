"""Jobs on record: what was seen before and after a repair, what is cured, what a shop learns, and what is withdrawn."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import NoReturn

import pytest

from rig.diagnosis.diagnosis import diagnose
from rig.diagnosis.from_jobs import WITHDRAWN, JobEvidence, cases, confirmed, evidence_of
from rig.diagnosis.learn import Knowledge
from rig.errors import RecordError
from rig.events import Event, RunStarted
from rig.plan.causes import CauseTable
from rig.plan.load import load_named
from rig.records import moves
from rig.records.facts import Corrected, Diagnosed, Estimated, OwnerAnswered
from rig.records.ids import new_run_id
from rig.records.job import job_of
from rig.records.people import Proved
from tests.conftest import bundled_plan, run
from tests.records.shop import LEAD, RULES, TECH, Shop
from tests.small_tables import bundled_table

TABLE = bundled_table("no-water-level")
RECTIFIER, LEAD_TOO = ("rectifier-open", 1.0), ("lead-high-ohm", 1.0)


@cache
def told(*faults: tuple[str, float]) -> tuple[Event, ...]:
    """The events of one inspection of a simulated unit."""
    events: list[Event] = []
    run(bundled_plan(), events, seed=3, faults=faults)
    return tuple(events)


def inspected(shop: Shop, *faults: tuple[str, float], simulated: bool = True) -> None:
    """Keep an inspection of the shop's job, of a unit with these faults."""
    name = new_run_id()
    journal = shop.store.journal(name)
    for event in told(*faults):
        if isinstance(event, RunStarted):
            event = replace(event, run=name, job=shop.job, serial="LM-0042", simulated=simulated)
        journal.record(event)
    journal.close()
    journal.release()


def diagnosed(shop: Shop, *faults: tuple[str, float], simulated: bool = True) -> None:
    """Up to the owner's word, and the repair of the rectifier."""
    inspected(shop, *faults, simulated=simulated)
    moves.diagnose(shop.store, shop.job, Diagnosed("rectifier-open", ""), RULES, TECH)
    moves.estimate(shop.store, shop.job, Estimated(90.0, "EUR", "", False), RULES, TECH)
    moves.answer(shop.store, shop.job, OwnerAnswered("approved", "S. Miller", "telephone"), RULES, TECH)
    shop.repair()


def now(shop: Shop) -> JobEvidence:
    return evidence_of(job_of(shop.store, shop.job), TABLE.observations, shop.store.read_run)


def tables() -> dict[str, CauseTable]:
    model = load_named("complaint", "no-water-level").model
    assert isinstance(model, CauseTable)
    return {model.complaint: model}


@pytest.fixture
def shop(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Shop]:
    found = Shop.opened(f"sqlite:///{tmp_path / 'records.sqlite'}", "practice", monkeypatch)
    found.receive()
    found.papers()
    yield found
    found.store.close()


def withdraw(shop: Shop, who: Proved = LEAD) -> None:
    (entry, _) = job_of(shop.store, shop.job).repairs[-1]
    moves.correct(shop.store, shop.job, Corrected(entry.id, "cause", WITHDRAWN, "it came back"), RULES, who)


def test_runs_before_and_after_a_repair_are_told_apart(shop: Shop) -> None:
    diagnosed(shop, RECTIFIER)
    inspected(shop)
    assert now(shop).cured == ("rectifier-open",)
    assert {e.cured for e in now(shop).found} == {frozenset(), frozenset({"rectifier-open"})}


def test_a_repair_that_cured_is_a_case_and_moves_the_start(shop: Shop) -> None:
    diagnosed(shop, RECTIFIER)
    assert cases(shop.store, tables()) == ()  # nothing was measured again yet
    inspected(shop)
    (case,) = cases(shop.store, tables())
    assert case.causes == ("rectifier-open",)
    assert {e.observation for e in case.seen} >= {"fill-supply-loaded", "fill-time"}
    assert Knowledge((case,)).start(TABLE)["rectifier-open"] > TABLE.start()["rectifier-open"]
    withdraw(shop)
    assert cases(shop.store, tables()) == ()


def test_a_repair_after_which_it_still_fails_is_no_case(shop: Shop) -> None:
    diagnosed(shop, RECTIFIER)
    inspected(shop, LEAD_TOO)
    assert not confirmed(now(shop))
    assert cases(shop.store, tables()) == ()


def test_what_a_job_teaches_is_worked_out_once(shop: Shop, monkeypatch: pytest.MonkeyPatch) -> None:
    diagnosed(shop, RECTIFIER)
    inspected(shop)
    first = cases(shop.store, tables())
    assert len(first) == 1
    reads: list[str] = []
    read = shop.store.read_run
    monkeypatch.setattr(shop.store, "read_run", lambda run: reads.append(run) or read(run))
    assert cases(shop.store, tables()) == first
    assert cases(shop.store, {}) == ()
    assert cases(shop.store, tables()) == first
    assert reads == []
    source = TABLE.table.observations["fill-time"]
    other = {**TABLE.table.observations, "fill-time": source.model_copy(update={"from_": ()})}
    (case,) = cases(shop.store, {TABLE.complaint: TABLE.table.model_copy(update={"observations": other})})
    assert reads  # its runs are read otherwise
    assert "fill-time" not in {e.observation for e in case.seen}
    assert cases(shop.store, tables()) == first


def test_a_run_that_is_at_another_bench_says_nothing_yet(shop: Shop) -> None:
    """Of a run that goes on at a bench the shop has its beginning alone."""
    diagnosed(shop, RECTIFIER)
    assert shop.store.run_if_here("0" * 32) is None
    found = evidence_of(job_of(shop.store, shop.job), TABLE.observations, lambda run: None)
    assert found == JobEvidence((), ("rectifier-open",))


def test_whoever_may_not_write_learns_all_the_same(shop: Shop, monkeypatch: pytest.MonkeyPatch) -> None:
    diagnosed(shop, RECTIFIER)
    inspected(shop)

    def refused(*_: object) -> NoReturn:
        raise RecordError("these records cannot be written")

    with monkeypatch.context() as only_reads:
        only_reads.setattr("rig.diagnosis.kept_cases.upsert", refused)
        first = cases(shop.store, tables())
    assert len(first) == 1
    assert cases(shop.store, tables()) == first


def test_simulated_runs_teach_a_workshop_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    shop = Shop.opened(f"sqlite:///{tmp_path / 'own.sqlite'}", "workshop", monkeypatch)
    for simulated, taught in ((True, 0), (False, 1)):
        shop.receive(f"LM-{simulated}")
        shop.papers()
        diagnosed(shop, RECTIFIER, simulated=simulated)
        inspected(shop, simulated=simulated)
        assert len(cases(shop.store, tables())) == taught
    shop.store.close()


def test_after_a_repair_the_failing_test_comes_first_and_then_it_is_cured(shop: Shop) -> None:
    diagnosed(shop, RECTIFIER)
    before = diagnose(TABLE, now(shop).found, cured=now(shop).cured)
    assert before.advice.do == "repeat"
    assert {"fill-supply-loaded", "fill-time"} <= set(before.advice.repeat)
    assert before.advice.remedy is None
    inspected(shop)
    after = diagnose(TABLE, now(shop).found, cured=now(shop).cured)
    assert after.advice.do == "cured"


def test_if_the_complaint_stays_the_ranking_goes_on_without_what_was_cured(shop: Shop) -> None:
    """Two faults: one is mended, and what the other does is still there."""
    diagnosed(shop, RECTIFIER, LEAD_TOO)
    inspected(shop, LEAD_TOO)
    found = diagnose(TABLE, now(shop).found, cured=now(shop).cured)
    assert found.advice.do not in ("cured", "repeat")
    assert next(iter(found.ranking.shares())) == "lead-high-ohm"
    assert "rectifier-open" not in [c for pair in found.ranking.pairs() for c in pair]
