"""What kind of store this is: a workshop's, or one for practice. One that has not been declared is for practice."""

from __future__ import annotations

from dataclasses import dataclass

import sqlalchemy as sa

from rig.errors import InputError, RuleError
from rig.records import ledger
from rig.records.facts import FileApproved, Received, StoreDeclared, StoreMade
from rig.records.people import LEAD, QA, Proved, read_people
from rig.records.store import Store

WORKSHOP, PRACTICE = KINDS = ("workshop", "practice")


@dataclass(frozen=True)
class Declared:
    """Whose records these are. ``since`` is empty where nobody has said so."""

    store: str
    kind: str = PRACTICE
    name: str = ""
    address: str = ""
    since: str = ""

    @property
    def practice(self) -> bool:
        return self.kind != WORKSHOP

    def heading(self) -> str:
        """What stands on every page."""
        if not self.practice:
            return f"Workshop: {self.name}"
        whose = f" of {self.name}" if self.name else ""
        undecided = "" if self.since else ", as long as it is not declared"
        return f"PRACTICE store{whose}{undecided}: nothing in it is a ground for shipping"


def read_declared(connection: sa.Connection) -> Declared:
    """What the ledger says of the store itself."""
    found = Declared("")
    for entry in ledger.read(connection, kinds=(StoreMade, StoreDeclared), own=True):
        fact = entry.fact
        if isinstance(fact, StoreMade):
            found = Declared(fact.store)
        elif isinstance(fact, StoreDeclared):
            found = Declared(found.store, fact.kind, fact.name, fact.address, entry.utc)
    return found


def declared(store: Store) -> Declared:
    """As ``read_declared``, of an open store."""
    with store.reading() as connection:
        return read_declared(connection)


def declare(store: Store, kind: str, name: str, address: str, by: Proved | None) -> Declared:
    """Say once what the store is, before the first unit is received.

    Raises InputError, RuleError."""
    if kind not in KINDS:
        raise InputError(f"there is no kind of store {kind!r}", f"Known: {', '.join(KINDS)}.", "--kind")
    if not name.strip():
        raise InputError("a store has a name: that of the workshop", "Give --name.", "--name")
    with store.writing() as connection:
        now = read_declared(connection)
        if now.since:
            do = "Records of another kind are kept in another place: --store sqlite:///PATH."
            raise RuleError(f"this is a {now.kind} store since {now.since[:10]}, and stays one", do, store.place)
        if ledger.read(connection, kinds=(Received,)):
            do = "A store is declared before the first unit is received; make another with --store sqlite:///PATH."
            raise RuleError("units were received here for practice", do, store.place)
        if read_people(connection) and (by is None or LEAD not in by.roles):
            raise RuleError("a lead declares what a store is", "Give --by NAME, and that person's PIN.", "--by")
        fact = StoreDeclared(kind, name.strip(), address.strip())
        ledger.append(connection, fact, by=by.name if by is not None else "")
        return read_declared(connection)


def approve(store: Store, fact: FileApproved, by: Proved) -> None:
    """QA puts a procedure, a profile or a bench in force as it stands in its file. Raises RuleError."""
    by.must_be(QA)
    with store.writing() as connection:
        ledger.append(connection, fact, by=by.name)


def in_force(connection: sa.Connection) -> dict[tuple[str, str], FileApproved]:
    """The files that QA has put in force last, by kind and name."""
    facts = [entry.fact for entry in ledger.read(connection, kinds=(FileApproved,))]
    return {(fact.kind, fact.name): fact for fact in facts if isinstance(fact, FileApproved)}
