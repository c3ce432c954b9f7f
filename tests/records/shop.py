"""A small workshop for the tests of this room: three people, runs as the engine would tell them, a clock to turn."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime, timedelta

import pytest

from rig.errors import RuleError
from rig.events import AllOff, Reading, RunEnded, RunStarted, StepEnded, StepResult
from rig.limits import Limit, Verdict, worst
from rig.plan.load import load_named
from rig.plan.rules import ShopRules
from rig.records import ledger, moves
from rig.records.declared import declare, declared
from rig.records.facts import (
    DataLeft,
    Decontaminated,
    Diagnosed,
    Estimated,
    FileUsed,
    InstrumentOnBench,
    Looked,
    OwnerAnswered,
    PartFitted,
    Received,
    Released,
    Repaired,
)
from rig.records.grounds import Standing
from rig.records.ids import new_run_id
from rig.records.journal import RunFacts
from rig.records.people import Proved
from rig.records.release import release, what_is_missing
from rig.records.store import Store

TECH, OTHER_TECH = Proved("A. Bench", ("technician",)), Proved("B. Bench", ("technician",))
LEAD, QA = Proved("L. Lead", ("lead",)), Proved("Q. Reviewer", ("QA",))
BOTH = Proved("T. Both", ("technician", "QA"))  # a small shop: tests one unit, releases another
EVERYBODY = (TECH, OTHER_TECH, LEAD, QA, BOTH)
FILES = {
    ("procedure", "final-inspection"): "f1",
    ("procedure", "electrical-safety"): "e1",
    ("procedure", "incoming-inspection"): "i1",
    ("procedure", "bench-self-check"): "s1",
    ("unit-profile", "demo-18-dc"): "u1",
    ("bench", "bench-2"): "b1",
}
STEPS = {
    "final-inspection": ("fill-time", "idle-current", "hold-temperature"),
    "electrical-safety": ("earth-bond", "insulation"),
    "incoming-inspection": ("fill-supply-loaded", "fill-current-from-board", "fill-time"),
    "bench-self-check": ("short",),
}
PASS = Verdict.PASS


def rules() -> ShopRules:
    model = load_named("shop-rules", "low-mill").model
    assert isinstance(model, ShopRules)
    return model


RULES = rules()


@dataclass
class Clock:
    """The time of the ledger, turned by hand."""

    now: datetime = field(default_factory=lambda: datetime(2026, 3, 2, 8, 0, tzinfo=UTC))

    def __call__(self) -> str:
        self.now += timedelta(seconds=1)
        return self.now.isoformat(timespec="milliseconds")


@dataclass
class Shop:
    """One store with its people, and the moves in few words. ``kind`` is workshop or practice."""

    store: Store
    clock: Clock
    job: str = ""

    @classmethod
    def opened(cls, url: str, kind: str, patch: pytest.MonkeyPatch) -> Shop:
        clock = Clock()
        patch.setattr(ledger, "now", clock)
        shop = cls(Store.open(url), clock)
        declare(shop.store, kind, "Low Mill Bench Works", "1 Mill Lane, invented", None)
        with shop.store.writing() as connection:
            from rig.records.facts import PersonAdded, RoleGiven

            for person in EVERYBODY:
                ledger.append(connection, PersonAdded(person.name))
                for role in person.roles:
                    ledger.append(connection, RoleGiven(person.name, role, "2026-01-01", None))
        return shop

    @property
    def today(self) -> date:
        return self.clock.now.date()

    @property
    def standing(self) -> Standing:
        return Standing(RULES, declared(self.store), self.today, dict(FILES), ("idle-current",))

    def receive(self, serial: str = "LM-0042", warranty_of: str | None = None) -> str:
        fact = Received(serial, "demo-18-dc", "Practice Miller", "no-water-level", "stops", (), warranty_of)
        self.job = moves.receive(self.store, fact, RULES, TECH)
        return self.job

    def papers(self) -> None:
        """Everything that is said at receiving."""
        moves.note(self.store, self.job, Decontaminated("declaration", "S. Miller"), RULES, TECH)
        moves.note(self.store, self.job, DataLeft("none", ""), RULES, TECH)
        for item in RULES.look_at:
            moves.note(self.store, self.job, Looked(item, ""), RULES, TECH)

    def run(
        self,
        procedure: str,
        bad: Mapping[str, Verdict] | None = None,
        by: Proved = TECH,
        *,
        job: str | None = None,
        simulated: bool = False,
        proved: bool = True,
        serial: str = "LM-0042",
        hashes: Mapping[str, str] | None = None,
        calibrated_until: str = "2027-01-01",
        cut_off: bool = False,
        all_off: bool = True,
        readers: Mapping[str, str] | None = None,
        by_hand: Mapping[str, str] | None = None,
    ) -> str:
        """A whole run; ``bad`` are the steps that did not pass, ``readers`` who took a reading by hand, ``by_hand``
        the steps that were read by hand, and with what."""
        run = new_run_id()
        used = (("procedure", procedure), ("unit-profile", "demo-18-dc"), ("bench", "bench-2"))
        files = tuple(FileUsed(k, n, "1", (hashes or {}).get(n, FILES[k, n])) for k, n in used)
        instruments = (InstrumentOnBench("meter-1", "M1", calibrated_until), InstrumentOnBench("relays-1", "R1", None))
        if procedure == "bench-self-check":
            job = ""
        own = self.job if job is None else job
        journal = self.store.journal(run, RunFacts(proved, files, instruments))
        journal.record(
            RunStarted(
                0.0, run, procedure, "1", "demo-18-dc", serial, "bench-2", simulated, by.name, own, None, (),
                "2026-03-02T08:00:00.000+00:00", len(STEPS[procedure]), 5.0, "terminal",
            )
        )  # fmt: skip
        steps = [result(name, (bad or {}).get(name, PASS), (readers or {}).get(name, "")) for name in STEPS[procedure]]
        for step in steps:
            said = (by_hand or {}).get(step.name)
            if said is not None and step.reading is not None:
                step = replace(step, reading=replace(step.reading, how="by hand", instrument=said))
            journal.record(StepEnded(1.0, step))
        if not cut_off:
            journal.record(AllOff(2.0, all_off, ()))
            journal.record(RunEnded(2.0, worst(s.verdict for s in steps), None, all_off, 2.0, 1.0))
        journal.close()
        journal.release()
        return run

    def self_check(self, verdict: Verdict = PASS) -> str:
        return self.run("bench-self-check", {"short": verdict})

    def diagnosed(self) -> None:
        """Up to the owner's word."""
        self.run("incoming-inspection", {"fill-supply-loaded": Verdict.FAIL})
        moves.diagnose(self.store, self.job, Diagnosed("rectifier-open", ""), RULES, TECH)
        moves.estimate(self.store, self.job, Estimated(90.0, "EUR", "", False), RULES, TECH)
        moves.answer(self.store, self.job, OwnerAnswered("approved", "S. Miller", "telephone"), RULES, TECH)

    def repair(self, part: str = "rectifier", by: Proved = TECH) -> None:
        fact = Repaired((PartFitted(part, "L1"),), 30.0, "rectifier-open", "")
        moves.repair(self.store, self.job, fact, RULES, by)

    def tested(self) -> None:
        """Everything that a release asks for after the repair."""
        self.self_check()
        self.run("incoming-inspection")
        self.run("final-inspection")
        self.run("electrical-safety")

    def ready(self) -> None:
        """A job that may be released."""
        self.receive()
        self.papers()
        self.diagnosed()
        self.repair()
        self.tested()


def result(name: str, verdict: Verdict = PASS, reader: str = "") -> StepResult:
    """A step that ended so, with a reading of 5 V."""
    limit = Limit(1.0, 9.0, "V", "invented for the tests", shown_in="V")
    reading = Reading(5.0, "V", 0.1, "5.00 V ± 0.20 V", parts=(("accuracy", 0.1),), raw=(5.0,), by=reader)
    found = StepResult(name, verdict, None, reading, limit, 1.0, None, 0.0, 1.0)
    return replace(found, reading=None, reason="no answer") if verdict is Verdict.NO_READING else found


def missing(shop: Shop, who: Proved = QA) -> tuple[str, ...]:
    """What stands between the shop's job and its release by somebody."""
    with shop.store.reading() as connection:
        return what_is_missing(connection, shop.job, shop.standing, who)


def refused(shop: Shop, says: str, who: Proved = QA) -> None:
    """Only this is missing."""
    with pytest.raises(RuleError) as caught:
        release(shop.store, shop.job, shop.standing, who)
    assert caught.value.exit_code == 4
    assert len(caught.value.missing) == 1, caught.value.missing
    assert says in caught.value.missing[0]
    with shop.store.reading() as connection:
        assert not ledger.read(connection, kinds=(Released,))
