"""Who works here, in which role and since when; PINs, and the lock after too many wrong ones.

There is no log-in that could be shared or left open: each act names one person, who proves it with the PIN there and
then (21 CFR 11.100(a), 11.200(a): one signature is one person's, and of two parts).
"""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime, timedelta
from typing import TYPE_CHECKING

import sqlalchemy as sa

from rig.errors import InputError, RuleError
from rig.records import ledger
from rig.records.facts import (
    Fact,
    PersonAdded,
    PinAccepted,
    PinRefused,
    PinSet,
    RoleEnded,
    RoleGiven,
    Unlocked,
)
from rig.records.store import Store

if TYPE_CHECKING:
    from argon2 import PasswordHasher

TECHNICIAN, QA, LEAD = ROLES = ("technician", "QA", "lead")
SHORTEST, LONGEST = 6, 64  # characters of a PIN
TRIES = 5  # wrong PINs in a row
LOCKED_FOR = timedelta(minutes=15)  # long enough to make guessing hopeless, short enough for a slip of the hand
PEOPLE = (PersonAdded, RoleGiven, RoleEnded, PinSet, PinRefused, PinAccepted, Unlocked)


@dataclass(frozen=True)
class Span:
    """A role from ``since`` to ``until``, both included; None: until further notice."""

    role: str
    since: date
    until: date | None

    def holds(self, day: date) -> bool:
        return self.since <= day and (self.until is None or day <= self.until)


@dataclass(frozen=True)
class Person:
    """Somebody on record. ``refused`` wrong PINs in a row, the last at ``refused_at``."""

    name: str
    roles: tuple[Span, ...] = ()
    verifier: str | None = field(default=None, repr=False)
    refused: int = 0
    refused_at: datetime | None = None

    def roles_on(self, day: date) -> tuple[str, ...]:
        """The roles held on a day, each once."""
        return tuple(role for role in ROLES if any(s.role == role and s.holds(day) for s in self.roles))

    def locked_until(self, now: datetime) -> datetime | None:
        """Until when no PIN is looked at; None when it is."""
        if self.refused < TRIES or self.refused_at is None:
            return None
        end = self.refused_at + LOCKED_FOR
        return end if now < end else None


def same_name(name: str) -> str:
    """What two spellings of one name have in common: case, spaces and the form of accents do not tell people apart."""
    return " ".join(unicodedata.normalize("NFKC", name).casefold().split())


def people_of(entries: Iterable[ledger.Kept]) -> dict[str, Person]:
    """Everybody, by :func:`same_name`, from the ledger's entries about people."""
    found: dict[str, Person] = {}
    for entry in entries:
        fact = entry.fact
        if isinstance(fact, PersonAdded):
            found.setdefault(same_name(fact.name), Person(fact.name))  # on several benches, and one person
        elif isinstance(fact, PEOPLE):
            key = same_name(fact.name)
            found[key] = _after(found[key], fact, datetime.fromisoformat(entry.utc))
    return found


def _after(person: Person, fact: Fact, when: datetime) -> Person:
    if isinstance(fact, RoleGiven):
        until = None if fact.until is None else date.fromisoformat(fact.until)
        return replace(person, roles=(*person.roles, Span(fact.role, date.fromisoformat(fact.since), until)))
    if isinstance(fact, RoleEnded):
        return replace(person, roles=_ended(person.roles, fact.role, date.fromisoformat(fact.on)))
    if isinstance(fact, PinSet):
        return replace(person, verifier=fact.verifier, refused=0)
    if isinstance(fact, PinRefused):
        return replace(person, refused=person.refused + 1, refused_at=when)
    return replace(person, refused=0)  # accepted, unlocked


def _ended(spans: Iterable[Span], role: str, on: date) -> tuple[Span, ...]:
    last = on - timedelta(days=1)
    cut = (replace(s, until=last) if s.role == role and s.holds(on) else s for s in spans)
    return tuple(s for s in cut if s.until is None or s.until >= s.since)


def everybody(store: Store) -> dict[str, Person]:
    """Everybody on record, by :func:`same_name`."""
    with store.reading() as connection:
        return read_people(connection)


def read_people(connection: sa.Connection, own: bool = True) -> dict[str, Person]:
    """As ``everybody``, within a transaction; not only this store's ``own``: those on record at its benches, too."""
    return people_of(ledger.read(connection, kinds=PEOPLE, own=own))


def known(people: dict[str, Person], name: str) -> Person:
    """The person of that name. Raises RuleError when there is none."""
    found = people.get(same_name(name))
    if found is None:
        what = f"nobody called {name!r} is on record" if name.strip() else "nobody is named"
        do = "'rig people' lists them; a lead adds people with 'rig people add'."
        raise RuleError(what, do if people else "'rig people add NAME --role lead' adds the first.", "--by")
    return found


@dataclass(frozen=True)
class Proved:
    """Somebody who has just given the right PIN, with the roles of today."""

    name: str
    roles: tuple[str, ...]

    def must_be(self, *roles: str) -> None:
        """Raises RuleError unless one of the roles is held today."""
        if not any(role in self.roles for role in roles):
            held = " and ".join(self.roles) or "without a role today"
            raise RuleError(f"{self.name} is {held}; this is for {' or '.join(roles)}", "Ask one of them.", "--by")


def prove(store: Store, name: str, pin: str) -> Proved:
    """Who gives a name and the right PIN. A wrong one is kept; too many in a row lock the person out for a while.

    Raises RuleError.
    """
    from argon2 import PasswordHasher
    from argon2.exceptions import InvalidHashError, VerificationError

    now = datetime.now(UTC)
    person = known(everybody(store), name)
    locked = person.locked_until(now)
    if locked is not None:
        what = f"{person.name} is locked out until {locked:%H:%M} UTC after {person.refused} wrong PINs"
        raise RuleError(what, "Wait, or let a lead unlock: 'rig people unlock NAME'.", "--by")
    if person.verifier is None:
        raise RuleError(f"{person.name} has no PIN yet", "A lead sets one: 'rig people pin NAME'.", "--by")
    try:
        PasswordHasher().verify(person.verifier, pin)
    except (VerificationError, InvalidHashError):
        with store.writing() as connection:
            ledger.append(connection, PinRefused(person.name))
        left = TRIES - person.refused - 1
        do = f"{left} more wrong ones lock it." if left > 0 else "It is locked now."
        raise RuleError(f"this is not the PIN of {person.name}", do, "--by") from None
    if person.refused:
        with store.writing() as connection:
            ledger.append(connection, PinAccepted(person.name))
    return Proved(person.name, person.roles_on(now.date()))


def add_person(
    store: Store,
    name: str,
    roles: Iterable[tuple[str, date, date | None]],
    pin: str,
    by: Proved | None,
    hasher: PasswordHasher | None = None,
) -> None:
    """Put somebody on record. A lead does it; the first of all comes as lead and answers for it.

    Raises InputError, RuleError.
    """
    shown = " ".join(name.split())
    if not shown:
        raise InputError("a person needs a name", "Name one person, not a bench or a group.", "NAME")
    given = list(roles)
    verifier = _verifier(pin, hasher)
    with store.writing() as connection:
        people = read_people(connection)
        if not people:
            if LEAD not in [role for role, _, _ in given]:
                raise RuleError("the first person on record is a lead", "Add '--role lead'.", shown)
        else:
            _by_lead(by)
        if same_name(shown) in people:
            raise RuleError(f"{people[same_name(shown)].name} is on record already", "Name each person once.", shown)
        author = by.name if by is not None else shown
        ledger.append(connection, PersonAdded(shown), by=author)
        for role, since, until in given:
            ledger.append(connection, _role(shown, role, since, until), by=author)
        ledger.append(connection, PinSet(shown, verifier), by=author)


def _role(name: str, role: str, since: date, until: date | None) -> RoleGiven:
    if role not in ROLES:
        raise InputError(f"there is no role {role!r}", f"Known: {', '.join(ROLES)}.", name)
    if until is not None and until < since:
        raise InputError(f"the role would end on {until}, before it begins on {since}", "Give other dates.", name)
    return RoleGiven(name, role, since.isoformat(), None if until is None else until.isoformat())


def give_role(store: Store, name: str, role: str, since: date, until: date | None, by: Proved) -> None:
    """Give a role from a day on. Raises InputError, RuleError."""
    _by_lead(by)
    with store.writing() as connection:
        person = known(read_people(connection), name)
        ledger.append(connection, _role(person.name, role, since, until), by=by.name)


def end_role(store: Store, name: str, role: str, on: date, by: Proved) -> None:
    """End a role; ``on`` is the first day without it. The last lead stays. Raises RuleError."""
    _by_lead(by)
    with store.writing() as connection:
        people = read_people(connection)
        person = known(people, name)
        if role not in person.roles_on(on):
            raise RuleError(f"{person.name} is not {role} on {on}", "'rig people' shows who is what.", "NAME")
        others = [p for p in people.values() if p is not person and LEAD in p.roles_on(on)]
        if role == LEAD and not others:
            raise RuleError(f"{person.name} is the last lead", "Give the role to somebody else first.", "NAME")
        ledger.append(connection, RoleEnded(person.name, role, on.isoformat()), by=by.name)


def set_pin(store: Store, name: str, pin: str, by: Proved, hasher: PasswordHasher | None = None) -> None:
    """Set a new PIN: one's own, or a lead somebody's. Raises InputError, RuleError."""
    if same_name(name) != same_name(by.name):
        _by_lead(by)
    verifier = _verifier(pin, hasher)
    with store.writing() as connection:
        person = known(read_people(connection), name)
        ledger.append(connection, PinSet(person.name, verifier), by=by.name)


def unlock(store: Store, name: str, by: Proved) -> None:
    """End a lock before its time. Raises RuleError."""
    _by_lead(by)
    with store.writing() as connection:
        person = known(read_people(connection), name)
        if same_name(person.name) == same_name(by.name):
            raise RuleError("nobody unlocks their own PIN", "Ask another lead, or wait.", "--by")
        ledger.append(connection, Unlocked(person.name), by=by.name)


def _by_lead(by: Proved | None) -> None:
    if by is None:
        raise RuleError("a lead answers for this", "Give --by NAME, and that person's PIN.", "--by")
    by.must_be(LEAD)


def _verifier(pin: str, hasher: PasswordHasher | None) -> str:
    """The Argon2id string of a PIN, with the library's own cost (RFC 9106, second recommended option)."""
    from argon2 import PasswordHasher

    if not SHORTEST <= len(pin) <= LONGEST:
        raise InputError(f"a PIN has {SHORTEST} to {LONGEST} characters", "Choose another.", "PIN")
    if len(set(pin)) < 3:
        raise InputError("a PIN of one or two different characters is guessed at once", "Choose another.", "PIN")
    return (hasher or PasswordHasher()).hash(pin)
