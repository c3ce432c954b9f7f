"""People, their roles by date, PINs and the lock."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import pytest
from argon2 import PasswordHasher

from rig.errors import InputError, RuleError
from rig.records import ledger
from rig.records.people import (
    LEAD,
    LOCKED_FOR,
    QA,
    TECHNICIAN,
    TRIES,
    Proved,
    add_person,
    end_role,
    everybody,
    give_role,
    known,
    prove,
    same_name,
    set_pin,
    unlock,
)
from rig.records.store import Store

CHEAP = PasswordHasher(time_cost=1, memory_cost=8, parallelism=1)
TODAY = datetime.now(UTC).date()
LEADER = Proved("L. Lead", (LEAD,))


@pytest.fixture
def staffed(store: Store) -> Store:
    add_person(store, "L. Lead", [(LEAD, TODAY, None)], "lead-pin", None, CHEAP)
    add_person(store, "A. Bench", [(TECHNICIAN, TODAY, None)], "tech-pin", LEADER, CHEAP)
    return store


def test_a_pin_proves_one_person(staffed: Store) -> None:
    assert prove(staffed, "A. Bench", "tech-pin") == Proved("A. Bench", (TECHNICIAN,))
    assert prove(staffed, "  a.  BENCH ", "tech-pin").name == "A. Bench"
    for name, pin in (("A. Bench", "lead-pin"), ("A. Bench", ""), ("L. Lead", "tech-pin")):
        with pytest.raises(RuleError, match="not the PIN"):
            prove(staffed, name, pin)
    for name in ("Nobody", ""):
        with pytest.raises(RuleError):
            prove(staffed, name, "tech-pin")


def test_the_pin_itself_is_nowhere_in_the_records(staffed: Store) -> None:
    with staffed.reading() as connection:
        text = str(ledger.read(connection))
    assert "tech-pin" not in text
    assert "$argon2id$" in text


def test_a_pin_of_full_cost_is_argon2id_with_a_salt_of_its_own(store: Store) -> None:
    """RFC 9106, section 4: the second recommended option is t = 3, p = 4, m = 64 MiB."""
    add_person(store, "L. Lead", [(LEAD, TODAY, None)], "lead-pin", None)
    verifier = known(everybody(store), "L. Lead").verifier
    assert verifier is not None
    assert verifier.startswith("$argon2id$v=19$m=65536,t=3,p=4$")
    assert prove(store, "L. Lead", "lead-pin").name == "L. Lead"


def test_too_many_wrong_pins_lock_and_even_the_right_one_waits(staffed: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    for _ in range(TRIES):
        with pytest.raises(RuleError, match="not the PIN"):
            prove(staffed, "A. Bench", "wrong-pin")
    with pytest.raises(RuleError, match="locked out"):
        prove(staffed, "A. Bench", "tech-pin")
    person = known(everybody(staffed), "A. Bench")
    assert person.locked_until(datetime.now(UTC)) is not None
    assert person.locked_until(datetime.now(UTC) + LOCKED_FOR + timedelta(seconds=1)) is None
    with pytest.raises(RuleError, match="nobody unlocks their own"):
        unlock(staffed, "L. Lead", LEADER)
    with pytest.raises(RuleError, match="for lead"):
        unlock(staffed, "A. Bench", Proved("A. Bench", (TECHNICIAN,)))
    unlock(staffed, "A. Bench", LEADER)
    assert prove(staffed, "A. Bench", "tech-pin").name == "A. Bench"


def test_after_the_lock_one_more_wrong_pin_locks_again(staffed: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    long_ago = (datetime.now(UTC) - LOCKED_FOR - timedelta(minutes=1)).isoformat()
    with monkeypatch.context() as patch:
        patch.setattr(ledger, "now", lambda: long_ago)
        for _ in range(TRIES):
            with pytest.raises(RuleError, match="not the PIN"):
                prove(staffed, "A. Bench", "wrong-pin")
    with pytest.raises(RuleError, match="not the PIN"):
        prove(staffed, "A. Bench", "wrong-pin")
    with pytest.raises(RuleError, match="locked out"):
        prove(staffed, "A. Bench", "tech-pin")


def test_the_right_pin_ends_the_count(staffed: Store) -> None:
    for _ in range(3):
        for _ in range(TRIES - 1):
            with pytest.raises(RuleError):
                prove(staffed, "A. Bench", "wrong-pin")
        prove(staffed, "A. Bench", "tech-pin")
    assert known(everybody(staffed), "A. Bench").refused == 0


def test_the_first_is_a_lead_and_leads_add_the_others(store: Store) -> None:
    with pytest.raises(RuleError, match="first person on record is a lead"):
        add_person(store, "A. Bench", [(TECHNICIAN, TODAY, None)], "tech-pin", None, CHEAP)
    add_person(store, "L. Lead", [(LEAD, TODAY, None)], "lead-pin", None, CHEAP)
    with pytest.raises(RuleError, match="a lead answers"):
        add_person(store, "A. Bench", [(TECHNICIAN, TODAY, None)], "tech-pin", None, CHEAP)
    with pytest.raises(RuleError, match="for lead"):
        add_person(store, "A. Bench", [(LEAD, TODAY, None)], "tech-pin", Proved("X", (QA,)), CHEAP)
    with pytest.raises(RuleError, match="on record already"):
        add_person(store, "l.  lead", [(QA, TODAY, None)], "lead-pin", LEADER, CHEAP)
    assert list(everybody(store)) == [same_name("L. Lead")]


@pytest.mark.parametrize("pin", ["", "12345", "111111", "121212", "x" * 65])
def test_a_pin_that_is_guessed_at_once_is_refused(store: Store, pin: str) -> None:
    with pytest.raises(InputError, match="PIN"):
        add_person(store, "L. Lead", [(LEAD, TODAY, None)], pin, None, CHEAP)
    assert everybody(store) == {}


def test_roles_hold_from_day_to_day(staffed: Store) -> None:
    give_role(staffed, "A. Bench", QA, date(2030, 1, 10), date(2030, 1, 20), LEADER)
    person = known(everybody(staffed), "A. Bench")
    days = {date(2030, 1, day): QA in person.roles_on(date(2030, 1, day)) for day in (9, 10, 20, 21)}
    assert list(days.values()) == [False, True, True, False]
    end_role(staffed, "A. Bench", QA, date(2030, 1, 15), LEADER)
    person = known(everybody(staffed), "A. Bench")
    assert QA in person.roles_on(date(2030, 1, 14))
    assert QA not in person.roles_on(date(2030, 1, 15))
    with pytest.raises(RuleError, match="last lead"):
        end_role(staffed, "L. Lead", LEAD, TODAY, LEADER)
    with pytest.raises(RuleError, match="is not QA"):
        end_role(staffed, "A. Bench", QA, date(2030, 1, 16), LEADER)
    with pytest.raises(InputError, match="before it begins"):
        give_role(staffed, "A. Bench", QA, date(2030, 1, 10), date(2030, 1, 9), LEADER)


def test_a_role_begun_and_ended_on_one_day_was_never_held(staffed: Store) -> None:
    give_role(staffed, "A. Bench", QA, date(2030, 1, 10), None, LEADER)
    end_role(staffed, "A. Bench", QA, date(2030, 1, 10), LEADER)
    assert QA not in known(everybody(staffed), "A. Bench").roles_on(date(2030, 1, 10))


def test_a_new_pin_replaces_the_old(staffed: Store) -> None:
    own = Proved("A. Bench", (TECHNICIAN,))
    set_pin(staffed, "A. Bench", "tech-pin-2", own, CHEAP)
    with pytest.raises(RuleError):
        prove(staffed, "A. Bench", "tech-pin")
    prove(staffed, "A. Bench", "tech-pin-2")
    with pytest.raises(RuleError, match="for lead"):
        set_pin(staffed, "L. Lead", "mine-now", own, CHEAP)
