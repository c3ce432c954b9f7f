"""Each move's precondition: refused without it, and the refusal says exactly what is missing."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from shop import LEAD, QA, RULES, TECH, Shop

from rig.errors import InputError, RigError, RuleError
from rig.limits import Verdict
from rig.records import ledger, moves
from rig.records.facts import (
    Corrected,
    DataLeft,
    Decontaminated,
    Diagnosed,
    Estimated,
    Looked,
    OwnerAnswered,
    PartFitted,
    Received,
    Repaired,
    ReturnedUnrepaired,
    Scrapped,
    Shipped,
)
from rig.records.job import WITHDRAWN, job_of
from rig.records.release import release
from rig.records.warranty import baseline


def refused(act: Callable[[], object], *says: str) -> None:
    with pytest.raises(RuleError) as caught:
        act()
    assert len(caught.value.missing) == len(says), caught.value.missing
    for word, line in zip(says, caught.value.missing, strict=True):
        assert word in line
    assert caught.value.exit_code == 4


def repaired(part: str = "rectifier", lot: str = "L1", condition: str = "new", minutes: float = 5.0) -> Repaired:
    return Repaired((PartFitted(part, lot, condition),), minutes, "rectifier-open", "")


def test_the_stages_in_their_order(shop: Shop) -> None:
    def stage() -> str:
        return job_of(shop.store, shop.job).stage

    assert shop.receive() == "1"
    seen = [stage()]
    shop.papers()
    seen.append(stage())
    shop.run("incoming-inspection", {"fill-time": Verdict.FAIL})
    seen.append(stage())
    moves.diagnose(shop.store, "1", Diagnosed("rectifier-open", ""), RULES, TECH)
    seen.append(stage())
    moves.estimate(shop.store, "1", Estimated(90.0, "EUR", "", False), RULES, TECH)
    moves.answer(shop.store, "1", OwnerAnswered("approved", "S. Miller", ""), RULES, TECH)
    seen.append(stage())
    shop.repair()
    seen.append(stage())
    shop.tested()
    seen.append(stage())
    release(shop.store, "1", shop.standing, QA)
    seen.append(stage())
    moves.ship(shop.store, "1", Shipped("parcel"), TECH, shop.today)
    seen.append(stage())
    assert seen == ["receive", "inspect", "diagnose", "estimate", "repair", "verify", "release", "ship", "shipped"]


def test_moves_before_their_time(shop: Shop) -> None:
    shop.receive()
    store = shop.store
    contaminated, unseen, unnamed = "no decontamination", "not inspected as found", "no cause is named"
    refused(lambda: moves.diagnose(store, "1", Diagnosed("x", ""), RULES, TECH), contaminated, unseen)
    refused(lambda: moves.estimate(store, "1", Estimated(1.0, "EUR", "", False), RULES, TECH), unnamed)
    refused(lambda: moves.answer(store, "1", OwnerAnswered("approved", "M", ""), RULES, TECH), "no estimate")
    refused(lambda: moves.repair(store, "1", repaired(), RULES, TECH), contaminated, unnamed, "has not approved")
    refused(lambda: moves.ship(store, "1", Shipped(""), TECH, shop.today), "not released")
    refused(lambda: moves.give_back(store, "1", ReturnedUnrepaired(""), TECH), "answer is missing")
    refused(lambda: moves.scrap(store, "1", Scrapped(""), LEAD), "answer is missing")
    assert moves.may_reach_bench(job_of(store, "1")) != ()
    shop.papers()
    assert moves.may_reach_bench(job_of(store, "1")) == ()


def test_a_finding_of_the_eye_is_inspection_enough_for_a_cause(shop: Shop) -> None:
    shop.receive()
    shop.papers()
    moves.note(shop.store, "1", Looked("vessel", "pitted"), RULES, TECH)
    moves.diagnose(shop.store, "1", Diagnosed("vessel-pitted", ""), RULES, TECH)
    assert job_of(shop.store, "1").last(Diagnosed)


def test_a_refusal_of_the_owner_sends_it_back_unrepaired(shop: Shop) -> None:
    shop.receive()
    shop.papers()
    shop.diagnosed()
    moves.answer(shop.store, "1", OwnerAnswered("refused", "S. Miller", ""), RULES, TECH)
    refused(lambda: moves.repair(shop.store, "1", repaired(), RULES, TECH), "answer: refused")
    moves.give_back(shop.store, "1", ReturnedUnrepaired("as it came"), TECH)
    refused(lambda: moves.note(shop.store, "1", Looked("cord", ""), RULES, TECH), "closed: returned unrepaired")
    assert moves.may_reach_bench(job_of(shop.store, "1")) == ("the job is closed: returned unrepaired",)


def test_beyond_repair_is_not_repaired_and_scrapped_on_the_owners_word_alone(shop: Shop) -> None:
    shop.receive()
    shop.papers()
    shop.diagnosed()
    moves.estimate(shop.store, "1", Estimated(900.0, "EUR", "vessel", True), RULES, TECH)
    answer = OwnerAnswered("approved", "S. Miller", "")
    refused(lambda: moves.answer(shop.store, "1", answer, RULES, TECH), "beyond economic repair")
    beyond = "beyond economic repair"
    refused(lambda: moves.repair(shop.store, "1", repaired(), RULES, TECH), beyond, "has not approved")
    moves.answer(shop.store, "1", OwnerAnswered("scrap", "S. Miller", "letter"), RULES, TECH)
    with pytest.raises(RuleError, match="for lead"):
        moves.scrap(shop.store, "1", Scrapped(""), TECH)
    moves.scrap(shop.store, "1", Scrapped("cord cut off"), LEAD)
    assert job_of(shop.store, "1").stage == "scrapped"


def test_an_approval_is_of_the_estimate_before_it(shop: Shop) -> None:
    shop.receive()
    shop.papers()
    shop.diagnosed()
    moves.estimate(shop.store, "1", Estimated(190.0, "EUR", "board, too", False), RULES, TECH)
    refused(lambda: moves.repair(shop.store, "1", repaired(), RULES, TECH), "has not approved")


@pytest.mark.parametrize(
    "fact",
    [DataLeft("erased", ""), DataLeft("copied", "  "), DataLeft("burnt", "x"), Decontaminated("declaration", " ")],
)
def test_data_and_declarations_need_somebodys_word(shop: Shop, fact: DataLeft | Decontaminated) -> None:
    shop.receive()
    with pytest.raises(RigError):
        moves.note(shop.store, "1", fact, RULES, TECH)


def test_only_what_is_not_here_yet_is_received(shop: Shop) -> None:
    shop.receive()
    refused(lambda: shop.receive(), "here already, as job 1")
    refused(lambda: shop.receive("lm-0042 "), "here already, as job 1")
    assert shop.receive("LM-0043") == "2"
    fact = Received("LM-9", "demo-18-dc", "", "no-watr-level", "")
    with pytest.raises(InputError, match="nearest is 'no-water-level'"):
        moves.receive(shop.store, fact, RULES, TECH)
    with pytest.raises(InputError, match="serial"):
        shop.receive("  ")


def test_a_warranty_return_is_linked_and_compared_with_what_left(shop: Shop) -> None:
    refused(lambda: shop.receive(warranty_of="7"), "there is no job 7")
    shop.ready()
    refused(lambda: shop.receive("LM-1", warranty_of="1"), "was not shipped")
    release(shop.store, "1", shop.standing, QA)
    moves.ship(shop.store, "1", Shipped(""), TECH, shop.today)
    refused(lambda: shop.receive("LM-1", warranty_of="1"), "was on serial LM-0042")
    assert shop.receive(warranty_of="1") == "2"
    shop.papers()
    shop.run("incoming-inspection", {"fill-time": Verdict.FAIL})
    with shop.store.reading() as connection:
        pairs = {pair.step: pair for pair in baseline(connection, job_of(shop.store, "2"))}
    assert pairs["fill-time"].as_left == pairs["fill-time"].as_found == 5.0
    assert pairs["fill-time"].en == 0.0
    assert pairs["fill-time"].agrees is True
    moves.diagnose(shop.store, "2", Diagnosed("rectifier-open", ""), RULES, TECH)
    moves.repair(shop.store, "2", repaired(), RULES, TECH)  # at the workshop's cost


def test_the_en_number_of_a_change() -> None:
    from rig.events import Reading
    from rig.records.warranty import compared

    def reading(value: float, u: float, bound: str | None = None) -> Reading:
        return Reading(value, "s", u, "", bound)

    changed = compared("fill-time", reading(80.0, 0.3), reading(82.0, 0.4))
    assert changed is not None
    assert changed.en == pytest.approx(2.0)  # 2 s over an expanded uncertainty of 2 * hypot(0.3, 0.4) = 1 s
    assert changed.agrees is False
    beyond = compared("fill-time", reading(80.0, 0.3), reading(180.0, 0.4, "more than"))
    assert beyond is not None
    assert beyond.agrees is None


def test_a_correction_names_what_it_corrects_and_both_stand(shop: Shop) -> None:
    shop.receive()
    entry = job_of(shop.store, "1").entries[0]
    moves.correct(shop.store, "1", Corrected(entry.id, "owner", "Practice Millar", "misheard"), RULES, TECH)
    job = job_of(shop.store, "1")
    assert job.received.owner == "Practice Millar"
    assert job.entries[0] == entry
    assert shop.store.problems() == ()
    refused(lambda: moves.correct(shop.store, "1", Corrected("x", "owner", "y", "z"), RULES, TECH), "no entry x")
    wrong = Corrected(entry.id, "unit", "demo-24-dc", "z")
    refused(lambda: moves.correct(shop.store, "1", wrong, RULES, TECH), "can be corrected")
    nothing = Corrected(entry.id, "owner", " ", "z")
    refused(lambda: moves.correct(shop.store, "1", nothing, RULES, TECH), "become nothing")
    with pytest.raises(InputError, match="reason"):
        moves.correct(shop.store, "1", Corrected(entry.id, "owner", "y", ""), RULES, TECH)


@pytest.mark.parametrize(
    ("field", "value", "says"),
    [("complaint", "no-watr-level", "no-water-level"), ("serial", "LM-0007", "here already, as job 1")],
)
def test_a_correction_is_held_to_the_rules_of_what_it_corrects(shop: Shop, field: str, value: str, says: str) -> None:
    shop.receive("LM-0007")
    shop.receive("LM-0008")
    entry = job_of(shop.store, "2").entries[0]
    with pytest.raises((InputError, RuleError)) as caught:
        moves.correct(shop.store, "2", Corrected(entry.id, field, value, "misheard"), RULES, TECH)
    assert says in str(caught.value) + " ".join(getattr(caught.value, "missing", ()))


def test_a_serial_number_may_be_spelt_otherwise(shop: Shop) -> None:
    shop.receive("lm-0007")
    entry = job_of(shop.store, "1").entries[0]
    moves.correct(shop.store, "1", Corrected(entry.id, "serial", "LM-0007", "typed in small letters"), RULES, TECH)
    assert job_of(shop.store, "1").received.serial == "LM-0007"


def test_of_a_unit_that_has_left_only_the_cause_is_corrected(shop: Shop) -> None:
    shop.ready()
    release(shop.store, shop.job, shop.standing, QA)
    moves.ship(shop.store, shop.job, Shipped("parcel"), TECH, shop.today)
    before = job_of(shop.store, shop.job)
    repair = next(e for e in before.entries if e.kind == "Repaired")
    minutes = Corrected(repair.id, "minutes", "45", "typing error")
    refused(lambda: moves.correct(shop.store, shop.job, minutes, RULES, TECH), "the job is closed: shipped")
    without_parts = RULES.model_copy(update={"retest": {}})  # the shop's rules have changed since
    moves.correct(shop.store, shop.job, Corrected(repair.id, "cause", WITHDRAWN, "it came back"), without_parts, TECH)
    job = job_of(shop.store, shop.job)
    assert job.repairs[0][1].cause == WITHDRAWN
    assert job.closed == "shipped"
    assert job.release == before.release


def test_what_has_a_meaning_of_its_own_is_said_anew_not_corrected(shop: Shop) -> None:
    shop.receive()
    shop.papers()
    shop.diagnosed()
    shop.repair()
    job = job_of(shop.store, "1")
    for kind, field in (
        ("OwnerAnswered", "answer"),
        ("Looked", "finding"),
        ("RunBegan", "simulated"),
        ("Repaired", "parts"),
    ):
        entry = next(e for e in job.entries if e.kind == kind)
        refused(lambda e=entry, f=field: moves.correct(shop.store, "1", Corrected(e.id, f, "x", "y"), RULES, TECH), "")
    minutes = next(e for e in job.entries if e.kind == "Repaired")
    many = Corrected(minutes.id, "minutes", "many", "y")
    refused(lambda: moves.correct(shop.store, "1", many, RULES, TECH), "a number")
    moves.correct(shop.store, "1", Corrected(minutes.id, "minutes", "45", "typing error"), RULES, TECH)
    assert job_of(shop.store, "1").repairs[0][1].minutes == 45.0


@pytest.mark.parametrize(
    "fact",
    [
        repaired("rectifyer"),
        repaired(lot=""),
        repaired(minutes=0.0),
        repaired(minutes=float("nan")),
        repaired(condition="old"),
        Repaired((), 5.0, "rectifier-open", ""),
        Repaired((PartFitted("cleaning", "", "none"),), 5.0, "Not a name", ""),
    ],
)
def test_a_repair_that_says_too_little(shop: Shop, fact: Repaired) -> None:
    shop.receive()
    shop.papers()
    shop.diagnosed()
    with pytest.raises(InputError):
        moves.repair(shop.store, "1", fact, RULES, TECH)
    assert not job_of(shop.store, "1").repairs


def test_who_may_do_what(shop: Shop) -> None:
    shop.receive()
    shop.papers()
    shop.diagnosed()
    for act in (
        lambda: moves.repair(shop.store, "1", repaired(), RULES, QA),
        lambda: moves.repair(shop.store, "1", repaired(), RULES, LEAD),
        lambda: moves.diagnose(shop.store, "1", Diagnosed("x", ""), RULES, QA),
    ):
        with pytest.raises(RuleError, match="this is for"):
            act()


def test_a_job_that_is_not_there(shop: Shop) -> None:
    with pytest.raises(InputError, match="no unit was received as job '9'"):
        moves.note(shop.store, "9", Looked("cord", ""), RULES, TECH)


def test_runs_that_named_a_job_before_it_was_received_are_not_of_it(shop: Shop) -> None:
    shop.run("final-inspection", job="1")
    shop.receive()
    assert job_of(shop.store, "1").runs == []
    with shop.store.reading() as connection:
        assert len(ledger.read(connection, "job:1")) == 3
