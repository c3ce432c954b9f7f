"""Every way round the rules of a release is refused, and the refusal says exactly what is missing."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Callable
from pathlib import Path

import pytest
from shop import BOTH, LEAD, OTHER_TECH, QA, RULES, TECH, Shop, missing, refused

from rig.errors import InputError, RuleError
from rig.limits import Verdict
from rig.records import ledger, moves
from rig.records.facts import Looked, Released, ReleaseWithdrawn, RoleEnded, Shipped
from rig.records.issued import note_paper
from rig.records.job import job_of
from rig.records.keys import holds
from rig.records.people import Proved
from rig.records.release import FORM, MEANING, due, release, still_to_run
from rig.records.signed import signed_record


def test_the_proper_way(shop: Shop) -> None:
    shop.ready()
    signed = release(shop.store, shop.job, shop.standing, QA)
    statement = json.loads(signed.statement)
    assert statement["printed_name"] == "Q. Reviewer"
    assert statement["meaning"] == MEANING
    assert statement["utc"].startswith("2026-03-02T08:")
    assert statement["kind"] == "workshop"
    assert holds(signed.public_key, "workshop", FORM, signed.statement.encode(), signed.signature)
    assert not holds(signed.public_key, "practice", FORM, signed.statement.encode(), signed.signature)
    assert not holds(
        signed.public_key, "workshop", FORM, signed.statement.replace("LM", "XX").encode(), signed.signature
    )
    moves.ship(shop.store, shop.job, Shipped("parcel"), TECH, shop.today)
    assert shop.store.problems() == ()


def test_what_the_signature_covers_is_the_head_of_the_chain(shop: Shop) -> None:
    shop.ready()
    with shop.store.reading() as connection:
        before = ledger.head_of(connection)
    signed = release(shop.store, shop.job, shop.standing, QA)
    statement = json.loads(signed.statement)
    with shop.store.reading() as connection:
        entries = {e.seq: e for e in ledger.read(connection)}
    head = statement["head"]
    assert head["seq"] >= before[0]  # the making of the key may lie between
    assert entries[head["seq"]].hash == head["hash"]
    assert entries[head["seq"] + 1].fact == signed


def test_a_job_with_nothing_yet_is_told_everything_at_once(shop: Shop) -> None:
    shop.receive()
    found = missing(shop)
    for says in ("decontamination", "owner's data", "not looked at: vessel", "final-inspection: no run", "electrical-"):
        assert any(says in line for line in found), (says, found)


@pytest.mark.parametrize(
    ("who", "says"),
    [
        (TECH, ["is not QA", "has tested", "has repaired"]),
        (OTHER_TECH, ["is not QA"]),
        (LEAD, ["is not QA"]),
    ],
)
def test_who_may_not(shop: Shop, who: Proved, says: list[str]) -> None:
    shop.ready()
    found = missing(shop, who)
    assert len(found) == len(says)
    assert all(word in line for word, line in zip(says, found, strict=True))


def test_whoever_ran_one_test_does_not_release_whatever_roles_they_have(shop: Shop) -> None:
    shop.ready()
    assert missing(shop, BOTH) == ()
    shop.run("electrical-safety", by=BOTH)
    refused(shop, "T. Both has tested this unit", BOTH)


def test_whoever_took_one_reading_by_hand_does_not_release(shop: Shop) -> None:
    shop.ready()
    shop.run("electrical-safety", readers={"earth-bond": "q. REVIEWER"})
    refused(shop, "Q. Reviewer has tested this unit")


def test_whoever_repaired_does_not_release(shop: Shop) -> None:
    shop.receive()
    shop.papers()
    shop.diagnosed()
    shop.repair(by=BOTH)
    shop.tested()
    refused(shop, "T. Both has repaired", BOTH)


def test_a_repair_makes_the_tests_before_it_stale(shop: Shop) -> None:
    shop.ready()
    shop.repair()
    found = missing(shop)
    assert "final-inspection: no run after the last repair" in found
    assert "electrical-safety: no run after the last repair" in found
    assert "fill-supply-loaded: not measured again after rectifier was worked on" in found


def test_before_a_release_what_it_stands_on_is_run(shop: Shop) -> None:
    """A run that came to no verdict on the unit is run again; what a verdict says is another matter."""

    def next_of_job() -> tuple[str, tuple[str, ...]]:
        job = job_of(shop.store, shop.job)
        return due(job, RULES), still_to_run(job, RULES)

    shop.receive()
    shop.papers()
    shop.diagnosed()
    shop.repair()
    both = ("final-inspection", "electrical-safety")
    assert next_of_job() == ("verify", both)
    shop.run("incoming-inspection")
    assert job_of(shop.store, shop.job).due == "release"
    assert next_of_job() == ("verify", both)
    shop.run("final-inspection", {"fill-time": Verdict.FAIL})
    assert next_of_job() == ("verify", both[1:])
    shop.run("electrical-safety", cut_off=True)
    assert next_of_job() == ("verify", both[1:])
    shop.run("electrical-safety")
    assert next_of_job() == ("release", ())
    shop.repair()
    assert next_of_job() == ("verify", both)


def test_the_table_says_what_is_measured_again(shop: Shop) -> None:
    shop.ready()
    shop.repair("other")
    shop.run("final-inspection")
    shop.run("electrical-safety")
    shop.run("incoming-inspection")
    assert missing(shop) == ()
    shop.repair("earth-lead")
    shop.run("final-inspection")
    shop.run("electrical-safety")
    assert missing(shop) == ("chassis-reference-resistance: not measured again after earth-lead was worked on",)


Change = Callable[[Shop], object]


@pytest.mark.parametrize(
    ("change", "says"),
    [
        (lambda s: s.run("final-inspection", {"fill-time": Verdict.NOT_RUN}), "fill-time: not run"),
        (lambda s: s.run("final-inspection", simulated=True), "is simulated, and this is a workshop's store"),
        (lambda s: s.run("final-inspection", proved=False), "run by A. Bench, without a PIN"),
        (lambda s: s.run("final-inspection", by=QA), "Q. Reviewer was no technician"),
        (lambda s: s.run("final-inspection", serial="LM-0043"), "on serial LM-0043"),
        (lambda s: s.run("final-inspection", all_off=False), "not everything was confirmed off"),
        (lambda s: s.run("final-inspection", hashes={"final-inspection": "x"}), "was not the one in force"),
        (lambda s: s.run("final-inspection", hashes={"bench-2": "x"}), "bench bench-2 was not the one in force"),
        (lambda s: s.run("final-inspection", calibrated_until="2026-03-01"), "meter-1 (M1) was calibrated until"),
        (lambda s: s.run("final-inspection", by_hand={"fill-time": "DMM 7"}), "fill-time was read with 'DMM 7', which"),
        (lambda s: s.run("final-inspection", {"hold-temperature": Verdict.CONDITIONAL_PASS}), "does not allow"),
        (lambda s: s.self_check(Verdict.FAIL), "a later self-check of bench bench-2 did not pass"),
        (lambda s: moves.note(s.store, s.job, Looked("cord", "sheath cut"), RULES, TECH), "cord: sheath cut"),
    ],
)  # fmt: skip
def test_one_thing_that_is_not_in_order(shop: Shop, change: Change, says: str) -> None:
    shop.ready()
    change(shop)
    found = [line for line in missing(shop) if "Q. Reviewer has tested" not in line]
    assert any(says in line for line in found), found
    with pytest.raises(RuleError):
        release(shop.store, shop.job, shop.standing, QA)


@pytest.mark.parametrize("said", ["M1", "meter-1", "the meter (M1)", "not named"])
def test_what_was_read_by_hand_with_an_instrument_of_the_bench_counts(shop: Shop, said: str) -> None:
    """The unit's own display, too, of which nobody says with what it was read."""
    shop.ready()
    shop.run("final-inspection", by_hand={"fill-time": said})
    assert missing(shop) == ()


def test_a_conditional_pass_counts_where_the_profile_says_so(shop: Shop) -> None:
    shop.ready()
    shop.run("final-inspection", {"idle-current": Verdict.CONDITIONAL_PASS})
    assert missing(shop) == ()


def test_a_self_check_of_yesterday_is_too_old(shop: Shop) -> None:
    from datetime import timedelta

    shop.ready()
    shop.clock.now += timedelta(hours=25)
    shop.run("final-inspection")
    refused(shop, "was older than 24 h")


def test_no_self_check_at_all(shop: Shop) -> None:
    shop.receive()
    shop.papers()
    shop.run("final-inspection")
    shop.run("electrical-safety")
    assert all("had no self-check before it" in line for line in missing(shop))
    assert len(missing(shop)) == 2


def test_whatever_comes_after_a_release_voids_it(shop: Shop) -> None:
    shop.ready()
    release(shop.store, shop.job, shop.standing, QA)
    shop.run("final-inspection")
    with pytest.raises(RuleError) as caught:
        moves.ship(shop.store, shop.job, Shipped(""), TECH, shop.today)
    assert "release it anew" in caught.value.missing[0]
    again = release(shop.store, shop.job, shop.standing, QA)
    assert json.loads(again.statement)["replaces"]
    moves.ship(shop.store, shop.job, Shipped(""), TECH, shop.today)


def test_a_unit_that_is_released_is_not_released_again(shop: Shop) -> None:
    shop.ready()
    signed = release(shop.store, shop.job, shop.standing, QA)
    note_paper(shop.store, shop.job, signed.number, "certificate", "0" * 64)  # a paper of it changes nothing
    shop.self_check()  # and what the bench does for others does not either
    says = f"released already: as {signed.number}, signed by Q. Reviewer on 2026-03-02 at "
    with pytest.raises(RuleError, match=says) as told:
        release(shop.store, shop.job, shop.standing, QA)
    assert told.value.exit_code == 4
    assert "withdraw" in told.value.do
    with shop.store.reading() as connection:
        assert len(ledger.read(connection, kinds=(Released,))) == 1
    moves.ship(shop.store, shop.job, Shipped(""), TECH, shop.today)
    with pytest.raises(RuleError, match="cannot be released") as caught:
        release(shop.store, shop.job, shop.standing, QA)
    assert caught.value.missing == ("the job is closed: shipped",)


def test_a_release_is_withdrawn_by_qa_with_a_reason_and_then_made_anew(shop: Shop) -> None:
    def withdraw(number: str, reason: str, who: Proved = QA) -> None:
        moves.withdraw(shop.store, shop.job, ReleaseWithdrawn(number, reason), who)

    shop.ready()
    with pytest.raises(RuleError, match="cannot be withdrawn") as caught:
        withdraw("", "a mistake")
    assert caught.value.missing == ("it is not released",)
    first = release(shop.store, shop.job, shop.standing, QA)
    with pytest.raises(RuleError, match="this is for QA"):
        withdraw(first.number, "a mistake", TECH)
    with pytest.raises(InputError, match="for a reason"):
        withdraw(first.number, "  ")
    with pytest.raises(RuleError):
        withdraw("1-000000000000", "a mistake")
    withdraw(first.number, "the wrong bottle was packed")
    with pytest.raises(RuleError) as caught:
        moves.ship(shop.store, shop.job, Shipped(""), TECH, shop.today)
    why = "its release was withdrawn by Q. Reviewer: the wrong bottle was packed"
    assert caught.value.missing == (why,)
    with pytest.raises(RuleError, match=why):
        signed_record(shop.store, shop.job)
    job = job_of(shop.store, shop.job)
    assert job.stage == "release"
    assert not job.releases
    again = release(shop.store, shop.job, shop.standing, QA)
    assert json.loads(again.statement)["replaces"] == first.number
    moves.ship(shop.store, shop.job, Shipped(""), TECH, shop.today)
    with pytest.raises(RuleError, match="cannot be withdrawn"):
        withdraw(again.number, "too late")


def test_a_run_that_goes_on_or_was_cut_off(shop: Shop) -> None:
    shop.ready()
    shop.run("final-inspection", cut_off=True)
    assert any("has no end on record" in line for line in missing(shop))
    shop.store.mark_interrupted()
    refused(shop, "it was cut off")


def test_a_role_that_has_ended_counts_no_more(shop: Shop) -> None:
    shop.ready()
    with shop.store.writing() as connection:
        ledger.append(connection, RoleEnded("A. Bench", "technician", "2026-01-02"))
    assert all("A. Bench was no technician on" in line for line in missing(shop))


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE events SET body = replace(body, '\"fail\"', '\"pass\"')",
        "UPDATE readings SET verdict = 'pass'",
        "UPDATE entries SET body = replace(body, 'rectifier', 'cleaning') WHERE kind = 'Repaired'",
        "DELETE FROM entries WHERE kind = 'Repaired'",
        "DELETE FROM entries WHERE seq = (SELECT max(seq) FROM entries) - 1",
    ],
)
def test_an_edited_or_cut_chain(shop: Shop, tmp_path: Path, statement: str) -> None:
    shop.ready()
    with sqlite3.connect(tmp_path / "records.sqlite") as other:
        for (name,) in other.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
            other.execute(f"DROP TRIGGER {name}")
        other.execute(statement)
    assert any("the records do not hold" in line for line in missing(shop))
    with pytest.raises(RuleError):
        release(shop.store, shop.job, shop.standing, QA)


def test_another_key_in_the_place_of_the_stores_own(shop: Shop, tmp_path: Path) -> None:
    from rig.records.keys import FOLDER, PRIVATE, _keep, signing_key

    shop.ready()
    signing_key(shop.store)
    (tmp_path / FOLDER / PRIVATE).unlink()
    with pytest.raises(RuleError, match="is not here"):
        release(shop.store, shop.job, shop.standing, QA)
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

    _keep(tmp_path / FOLDER / PRIVATE, Ed25519PrivateKey.generate())
    with pytest.raises(RuleError, match="not the key that the records know"):
        release(shop.store, shop.job, shop.standing, QA)


def test_a_key_is_nobody_elses_to_read(shop: Shop, tmp_path: Path) -> None:
    from rig.records.keys import FOLDER, PRIVATE, signing_key

    signing_key(shop.store)
    assert (tmp_path / FOLDER / PRIVATE).stat().st_mode & 0o077 == 0


def test_in_a_practice_store_simulated_units_go_the_whole_way(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    shop = Shop.opened(f"sqlite:///{tmp_path / 'practice.sqlite'}", "practice", monkeypatch)
    shop.receive()
    shop.papers()
    shop.self_check()
    shop.run("final-inspection", simulated=True)
    shop.run("electrical-safety", simulated=True)
    signed = release(shop.store, shop.job, shop.standing, QA)
    assert json.loads(signed.statement)["kind"] == "practice"
    assert not holds(signed.public_key, "workshop", FORM, signed.statement.encode(), signed.signature)
    shop.store.close()
