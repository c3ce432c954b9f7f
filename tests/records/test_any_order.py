"""Moves in any order, by anybody: no unit is ever released, and none shipped, that breaks a rule.

What is allowed is worked out here once more, from a list of what was done, by other means than the records use. A
release must be refused whenever this list says so, and must be granted when it does not. ``RIG_LIVES=10000`` tries so
many lives; ``RIG_LIVES_BOTH=1000`` lives so many again in PostgreSQL, where every move must come out alike.
"""

from __future__ import annotations

import functools
import os
import shutil
import tempfile
from collections.abc import Callable
from datetime import timedelta
from pathlib import Path

import pytest
from deeds import MENDED, SAFETY, TESTS, Deeds, Done
from hypothesis import HealthCheck, event, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, precondition, rule
from shop import BOTH, LEAD, OTHER_TECH, QA, RULES, STEPS, TECH, Shop

from rig.errors import RigError
from rig.limits import Verdict
from rig.records import indicators, moves
from rig.records.facts import (
    Adjusted,
    Conceded,
    DataLeft,
    Decontaminated,
    Diagnosed,
    Estimated,
    FindingExplained,
    IndicatorPlaced,
    IndicatorRead,
    Looked,
    OwnerAnswered,
    PartFitted,
    Released,
    ReleaseWithdrawn,
    Repaired,
    Shipped,
)
from rig.records.job import job_of
from rig.records.people import Proved
from rig.records.release import release

LABELS = st.sampled_from(["I-1", "I-2", "I-3"])

LIVES = int(os.environ.get("RIG_LIVES", "15"))
LIVES_BOTH = int(os.environ.get("RIG_LIVES_BOTH", "3"))


def told(move: Callable[..., None]) -> Callable[..., None]:
    """Keep what was done by whom, to do it again elsewhere; what a move does by itself is not told twice."""

    @functools.wraps(move)
    def doing(self: Life, **words: object) -> None:
        outermost, self.telling = not self.telling, True
        if outermost:
            self.story.append((move.__name__, words))
        try:
            move(self, **words)
        finally:
            self.telling = not outermost

    return doing


class Life(RuleBasedStateMachine):
    """One unit in one workshop."""

    def __init__(self) -> None:
        super().__init__()
        self.story: list[tuple[str, dict[str, object]]] = []
        self.telling = False
        base = Path("/dev/shm")
        self.folder = Path(tempfile.mkdtemp(dir=base if os.access(base, os.W_OK) else None))
        self.patch = pytest.MonkeyPatch()
        self.shop = Shop.opened(self.url(), "workshop", self.patch)
        self.deeds = Deeds(lambda: self.shop.today)

    def url(self) -> str:
        return f"sqlite:///{self.folder / 'records.sqlite'}"

    def teardown(self) -> None:
        try:
            assert self.shop.store.problems() == ()
        finally:
            self.shop.store.close()
            self.patch.undo()
            shutil.rmtree(self.folder)

    @initialize(ready=st.booleans())
    @told
    def received(self, ready: bool) -> None:
        self.shop.receive()
        if ready:
            self.the_proper_way(anew=False)

    def add(self, what: str, by: Proved, name: str = "", **more: object) -> None:
        self.deeds.done.append(Done(what, self.shop.clock.now, by.name, name, **more))  # type: ignore[arg-type]

    def attempt(self, act: Callable[[], object], what: str, by: Proved, name: str = "") -> None:
        """A move, allowed or not: whether it was is judged by what comes of it."""
        try:
            act()
        except RigError:
            return
        self.add(what, by, name)

    # --- what people do

    @rule()
    @told
    def papers(self) -> None:
        self.attempt(self.shop.papers, "papers", TECH)

    @rule(who=st.sampled_from([TECH, BOTH]))
    @told
    def half_the_papers(self, who: Proved) -> None:
        store, job = self.shop.store, self.shop.job
        self.attempt(
            lambda: moves.note(store, job, Decontaminated("workshop", "A. Bench"), RULES, who), "decontaminated", who
        )
        self.attempt(lambda: moves.note(store, job, DataLeft("none", ""), RULES, who), "data", who)

    @rule(finding=st.sampled_from(["", "sheath cut"]), item=st.sampled_from(["cord", "relief-valve"]))
    @told
    def look(self, finding: str, item: str) -> None:
        fact = Looked(item, finding)
        act = lambda: moves.note(self.shop.store, self.shop.job, fact, RULES, TECH)  # noqa: E731
        self.attempt(act, "found" if finding else "looked", TECH, item)

    @rule(said=st.sampled_from(["approved", "approved", "refused"]), beyond=st.booleans())
    @told
    def agree(self, said: str, beyond: bool) -> None:
        shop = self.shop
        self.attempt(
            lambda: moves.diagnose(shop.store, shop.job, Diagnosed("rectifier-open", ""), RULES, TECH), "cause", TECH
        )
        estimate = Estimated(90.0, "EUR", "", beyond and said == "refused")
        self.attempt(
            lambda: moves.estimate(shop.store, shop.job, estimate, RULES, TECH),
            "beyond" if estimate.beyond_repair else "estimate",
            TECH,
        )
        answer = OwnerAnswered(said, "S. Miller", "")
        self.attempt(lambda: moves.answer(shop.store, shop.job, answer, RULES, TECH), said, TECH)

    @rule(part=st.sampled_from(list(MENDED)), by=st.sampled_from([TECH, OTHER_TECH, BOTH, QA]))
    @told
    def repair(self, part: str, by: Proved) -> None:
        fact = Repaired((PartFitted(part, "L1"),), 5.0, "rectifier-open", "")
        self.attempt(lambda: moves.repair(self.shop.store, self.shop.job, fact, RULES, by), "repaired", by, part)

    @rule(by=st.sampled_from([TECH, TECH, BOTH, QA]))
    @told
    def adjust(self, by: Proved) -> None:
        fact = Adjusted("temperature-sensor", "Cel", 134.0, 135.2, 134.1, "offset from 0 to -1.1 K", "Pt100 T4")
        self.attempt(lambda: indicators.adjust(self.shop.store, self.shop.job, fact, by), "adjusted", by)

    @rule(label=LABELS, kind=st.sampled_from(indicators.KINDS), left=st.sampled_from([100, 100, 100, 1, 0, -1]))
    @told
    def place(self, label: str, kind: str, left: int) -> None:
        """An indicator whose lot has so many days left."""
        known = self.deeds.known(label)
        fact = IndicatorPlaced(label, kind, "2231", (self.shop.today + timedelta(days=left)).isoformat())
        act = lambda: indicators.place(self.shop.store, self.shop.job, fact, TECH, self.shop.today)  # noqa: E731
        before = len(self.deeds.done)
        self.attempt(act, kind, TECH, label)
        assert (len(self.deeds.done) > before) == (left >= 0 and not known and not self.deeds.has("shipped"))

    @rule(label=LABELS, result=st.sampled_from(["pass", "pass", "fail"]), who=st.sampled_from([TECH, QA, LEAD]))
    @told
    def read(self, label: str, result: str, who: Proved) -> None:
        """What one shows, which may come when the unit has left."""
        allowed = self.deeds.known(label) and not (result == "pass" and self.deeds.has_failed(label))
        fact = IndicatorRead(label, result, "A. Bench", self.shop.today.isoformat())
        act = lambda: indicators.read(self.shop.store, self.shop.job, fact, who, self.shop.today)  # noqa: E731
        before = len(self.deeds.done)
        self.attempt(act, result, who, label)
        assert (len(self.deeds.done) > before) == allowed

    @rule(good=st.sampled_from([True, True, True, False]))
    @told
    def self_check(self, good: bool) -> None:
        verdict = Verdict.PASS if good else Verdict.FAIL
        at = self.shop.clock.now
        self.shop.self_check(verdict)
        self.deeds.done.append(Done("self-check", at, verdicts={"short": verdict}))

    @rule(
        procedure=st.sampled_from(TESTS),
        bad=st.sampled_from([None, None, *[v for v in Verdict if v is not Verdict.PASS]]),
        which=st.integers(0, 2),
        by=st.sampled_from([TECH, TECH, OTHER_TECH, BOTH, QA]),
        trick=st.sampled_from(
            ["", "", "", "", "simulated", "no pin", "other unit", "other file", "expired", "cut off", "not off"]
        ),
    )
    @told
    def run(self, procedure: str, bad: Verdict | None, which: int, by: Proved, trick: str) -> None:
        if not self.deeds.has("papers", "decontaminated"):
            return  # it does not reach the bench: tests/cli tries that
        steps = STEPS[procedure]
        verdicts = {steps[which % len(steps)]: bad} if bad is not None else {}
        self.shop.run(
            procedure,
            verdicts,
            by,
            simulated=trick == "simulated",
            proved=trick != "no pin",
            serial="LM-9" if trick == "other unit" else "LM-0042",
            hashes={procedure: "x"} if trick == "other file" else None,
            calibrated_until="2026-01-01" if trick == "expired" else "2027-01-01",
            cut_off=trick == "cut off",
            all_off=trick != "not off",
        )
        every = {step: verdicts.get(step, Verdict.PASS) for step in steps}
        if trick == "simulated":
            self.add("simulated run", by, procedure, verdicts=every)
        else:
            sound = not trick and "technician" in by.roles
            self.add(f"run {trick}".strip(), by, procedure, verdicts=every, sound=sound)

    @rule()
    @told
    def mark_what_was_cut_off(self) -> None:
        self.shop.store.mark_interrupted()
        for one in self.deeds.done:
            one.what = "run marked" if one.what == "run cut off" else one.what

    @rule(step=st.sampled_from([*STEPS["final-inspection"], "earth-bond", "look:cord", "look:relief-valve"]))
    @told
    def concede(self, step: str) -> None:
        until = (self.shop.today + timedelta(days=1)).isoformat()
        own = self.shop.standing.own
        fact = Conceded(step, "for a reason", until)
        act = lambda: moves.concede(self.shop.store, self.shop.job, fact, RULES, LEAD, own, self.shop.today)  # noqa: E731
        self.attempt(act, "conceded", LEAD, step)
        assert not (self.deeds.done and self.deeds.done[-1].what == "conceded" and self.deeds.done[-1].name in SAFETY)

    @rule(step=st.sampled_from(["fill-time", "idle-current", "hold-temperature", "insulation", "look:cord"]))
    @told
    def explain(self, step: str) -> None:
        own = self.shop.standing.own
        fact = FindingExplained(step, "a reason")
        act = lambda: moves.explain(self.shop.store, self.shop.job, fact, RULES, LEAD, own, self.shop.today)  # noqa: E731
        self.attempt(act, "explained", LEAD, step)

    @rule(hours=st.sampled_from([1, 20, 30]))
    @told
    def wait(self, hours: int) -> None:
        self.shop.clock.now += timedelta(hours=hours)

    @rule(anew=st.booleans())
    @told
    def the_proper_way(self, anew: bool) -> None:
        """Everything that is still to be done, in its order: from here the odd things are tried."""
        if not self.deeds.has("papers"):
            self.papers()
        if not any(one.what == "run" for one in self.deeds.done):
            self.run(procedure="incoming-inspection", bad=Verdict.FAIL, which=0, by=TECH, trick="")
        if anew or not self.deeds.has("repaired"):
            self.agree(said="approved", beyond=False)
            self.repair(part="rectifier", by=TECH)
        self.self_check(good=True)
        for procedure in TESTS:
            self.run(procedure=procedure, bad=None, which=0, by=TECH, trick="")

    @rule(who=st.sampled_from([QA, QA, QA, BOTH, TECH, LEAD]))
    @told
    def release(self, who: Proved) -> None:
        why_not, refusal = self.deeds.broken(who), ""
        try:
            release(self.shop.store, self.shop.job, self.shop.standing, who)
        except RigError as error:
            refusal = "; ".join(error.lines())
        assert bool(why_not) == bool(refusal), (
            f"by the list: {why_not or 'allowed'}; by the records: {refusal or 'done'}"
        )
        if refusal:
            return
        event("released")
        self.add("released", who)

    @precondition(lambda self: self.deeds.has("released"))
    @rule(who=st.sampled_from([QA, QA, BOTH, TECH, LEAD]))
    @told
    def withdraw(self, who: Proved) -> None:
        """The release that was made last."""
        allowed = self.deeds.stands() and "QA" in who.roles
        before = len(self.deeds.done)
        self.attempt(lambda: moves.withdraw(self.shop.store, self.shop.job, self.withdrawal(), who), "withdrawn", who)
        assert (len(self.deeds.done) > before) == allowed

    def withdrawal(self) -> ReleaseWithdrawn:
        last = job_of(self.shop.store, self.shop.job).last(Released)
        return ReleaseWithdrawn("" if last is None else last[1].number, "the wrong bottle was packed")

    @precondition(lambda self: self.deeds.has("released"))
    @rule()
    @told
    def ship(self) -> None:
        last = max(n for n, one in enumerate(self.deeds.done) if one.what == "released")
        conceded = [one for one in self.deeds.done if one.what == "conceded"]
        ended = any(one.at.date() + timedelta(days=1) < self.shop.today for one in conceded)
        try:
            moves.ship(self.shop.store, self.shop.job, Shipped(""), TECH, self.shop.today)
        except RigError:
            assert last < len(self.deeds.done) - 1 or ended or self.deeds.has("shipped")
            return
        later = [one.what for one in self.deeds.done[last + 1 :] if one.what != "self-check"]
        assert not later, f"shipped although after its release came {later}"
        assert not ended
        self.add("shipped", TECH)


TestAnyOrder = Life.TestCase
TestAnyOrder.settings = settings(
    max_examples=LIVES,
    stateful_step_count=20,
    deadline=None,
    suppress_health_check=list(HealthCheck),
    print_blob=True,
)
