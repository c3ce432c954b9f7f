"""What stands against a unit, and what closes it: a repair, a reading, a concession of a lead, and nothing else."""

from __future__ import annotations

import pytest
from shop import LEAD, QA, RULES, TECH, Shop, missing, refused

from rig.errors import RuleError
from rig.limits import Verdict
from rig.records import moves
from rig.records.facts import Conceded, FindingExplained, Shipped
from rig.records.people import Proved
from rig.records.release import release


def test_a_fail_that_passes_next_time_without_a_repair_stays_open(shop: Shop) -> None:
    shop.ready()
    shop.run("final-inspection", {"idle-current": Verdict.FAIL})
    shop.run("final-inspection")
    refused(shop, "open finding: idle-current in final-inspection")
    moves.explain(
        shop.store, shop.job, FindingExplained("idle-current", "lamp of the bench was on its lead"), RULES, LEAD,
        shop.standing.own, shop.today,
    )  # fmt: skip
    assert missing(shop) == ()


def test_what_could_not_be_measured_is_closed_by_measuring_it(shop: Shop) -> None:
    shop.ready()
    shop.run("final-inspection", {"idle-current": Verdict.NO_READING})
    assert any("no reading" in line for line in missing(shop))
    shop.run("final-inspection")
    assert missing(shop) == ()


def test_a_simulated_pass_closes_nothing_in_a_workshop(shop: Shop) -> None:
    shop.receive()
    shop.papers()
    shop.diagnosed()
    shop.repair()
    shop.self_check()
    shop.run("incoming-inspection", simulated=True)
    shop.run("final-inspection")
    shop.run("electrical-safety")
    found = missing(shop)
    assert any("fill-supply-loaded: measured again" in line and "does not count" in line for line in found)
    assert any("open finding: fill-supply-loaded" in line for line in found)


def concede(shop: Shop, finding: str, until: str = "2026-03-09") -> None:
    fact = Conceded(finding, "a lamp of a newer kind", until)
    moves.concede(shop.store, shop.job, fact, RULES, LEAD, shop.standing.own, shop.today)


def test_a_concession_of_a_step_that_is_none_of_safety(shop: Shop) -> None:
    shop.ready()
    shop.run("final-inspection", {"idle-current": Verdict.FAIL})
    concede(shop, "idle-current")
    assert missing(shop) == ()


def test_a_concession_ends(shop: Shop) -> None:
    from datetime import timedelta

    shop.ready()
    shop.run("final-inspection", {"idle-current": Verdict.FAIL})
    concede(shop, "idle-current")
    release(shop.store, shop.job, shop.standing, QA)
    shop.clock.now += timedelta(days=10)
    assert any("idle-current" in line for line in missing(shop))
    with pytest.raises(RuleError) as caught:
        moves.ship(shop.store, shop.job, Shipped(""), TECH, shop.today)
    assert "the concession of idle-current ended on 2026-03-09" in caught.value.missing


def test_a_concession_is_of_what_is_on_record_then_and_not_of_what_fails_later(shop: Shop) -> None:
    shop.ready()
    shop.run("final-inspection", {"idle-current": Verdict.FAIL})
    concede(shop, "idle-current")
    shop.run("final-inspection", {"idle-current": Verdict.FAIL})
    assert len(missing(shop)) == 2  # the step, and the finding


@pytest.mark.parametrize(
    ("procedure", "step"),
    [
        ("electrical-safety", "earth-bond"),
        ("electrical-safety", "insulation"),
        ("final-inspection", "hold-temperature"),
    ],
)
def test_a_safety_step_is_never_conceded_nor_explained(shop: Shop, procedure: str, step: str) -> None:
    shop.ready()
    shop.run(procedure, {step: Verdict.FAIL})
    with pytest.raises(RuleError) as caught:
        concede(shop, step)
    assert "is a safety step" in caught.value.missing[0]
    with pytest.raises(RuleError):
        moves.explain(shop.store, shop.job, FindingExplained(step, "x"), RULES, LEAD, shop.standing.own, shop.today)
    assert len(missing(shop)) == 2


def test_only_a_lead_concedes_and_does_not_release_then(shop: Shop) -> None:
    shop.ready()
    shop.run("final-inspection", {"idle-current": Verdict.FAIL})
    fact = Conceded("idle-current", "a lamp of a newer kind", "2026-03-09")
    with pytest.raises(RuleError, match="is for lead"):
        moves.concede(shop.store, shop.job, fact, RULES, QA, shop.standing.own, shop.today)
    both = Proved("Q. Reviewer", ("QA", "lead"))
    moves.concede(shop.store, shop.job, fact, RULES, both, shop.standing.own, shop.today)
    refused(shop, "Q. Reviewer has granted a concession", both)
