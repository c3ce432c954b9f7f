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
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from pathlib import Path

import pytest
from hypothesis import HealthCheck, event, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, precondition, rule
from shop import BOTH, LEAD, OTHER_TECH, QA, RULES, STEPS, TECH, Shop

from rig.errors import RigError
from rig.limits import Verdict
from rig.records import moves
from rig.records.facts import (
    Conceded,
    DataLeft,
    Decontaminated,
    Diagnosed,
    Estimated,
    FindingExplained,
    Looked,
    OwnerAnswered,
    PartFitted,
    Repaired,
    Shipped,
)
from rig.records.people import Proved
from rig.records.release import release

LIVES = int(os.environ.get("RIG_LIVES", "15"))
LIVES_BOTH = int(os.environ.get("RIG_LIVES_BOTH", "3"))
SAFETY = {"earth-bond", "insulation", "hold-temperature"}
BAD = (Verdict.FAIL, Verdict.CONDITIONAL_FAIL)
AGAINST = (*BAD, Verdict.NO_READING, Verdict.STOPPED)
TESTS = ("incoming-inspection", "final-inspection", "electrical-safety")
MENDED: dict[str, tuple[str, ...]] = {
    "rectifier": ("fill-supply-loaded", "fill-current-from-board", "fill-time"),
    "earth-lead": ("earth-bond", "chassis-reference-resistance"),
    "cleaning": ("fill-time", "water-drained"),
}


@dataclass
class Done:
    """One thing that was done, with the time at which it was."""

    what: str
    at: datetime
    by: str = ""
    name: str = ""
    verdicts: dict[str, Verdict] = field(default_factory=dict)
    sound: bool = True  # of a run: real, proved, the right unit, files and instruments in order


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
        self.done: list[Done] = []

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
        self.done.append(Done(what, self.shop.clock.now, by.name, name, **more))  # type: ignore[arg-type]

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

    @rule(good=st.sampled_from([True, True, True, False]))
    @told
    def self_check(self, good: bool) -> None:
        verdict = Verdict.PASS if good else Verdict.FAIL
        at = self.shop.clock.now
        self.shop.self_check(verdict)
        self.done.append(Done("self-check", at, verdicts={"short": verdict}))

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
        if not self.has("papers", "decontaminated"):
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
            self.add("simulated run", by, procedure)
        else:
            sound = not trick and "technician" in by.roles
            self.add(f"run {trick}".strip(), by, procedure, verdicts=every, sound=sound)

    @rule()
    @told
    def mark_what_was_cut_off(self) -> None:
        self.shop.store.mark_interrupted()
        for one in self.done:
            one.what = "run marked" if one.what == "run cut off" else one.what

    @rule(step=st.sampled_from([*STEPS["final-inspection"], "earth-bond", "look:cord", "look:relief-valve"]))
    @told
    def concede(self, step: str) -> None:
        until = (self.shop.today + timedelta(days=1)).isoformat()
        own = self.shop.standing.own
        fact = Conceded(step, "for a reason", until)
        act = lambda: moves.concede(self.shop.store, self.shop.job, fact, RULES, LEAD, own, self.shop.today)  # noqa: E731
        self.attempt(act, "conceded", LEAD, step)
        assert not (self.done and self.done[-1].what == "conceded" and self.done[-1].name in SAFETY)

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
        if not self.has("papers"):
            self.papers()
        if not any(one.what == "run" for one in self.done):
            self.run(procedure="incoming-inspection", bad=Verdict.FAIL, which=0, by=TECH, trick="")
        if anew or not self.has("repaired"):
            self.agree(said="approved", beyond=False)
            self.repair(part="rectifier", by=TECH)
        self.self_check(good=True)
        for procedure in TESTS:
            self.run(procedure=procedure, bad=None, which=0, by=TECH, trick="")

    @rule(who=st.sampled_from([QA, QA, QA, BOTH, TECH, LEAD]))
    @told
    def release(self, who: Proved) -> None:
        why_not, refusal = self.broken(who), ""
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

    @precondition(lambda self: self.has("released"))
    @rule()
    @told
    def ship(self) -> None:
        last = max(n for n, one in enumerate(self.done) if one.what == "released")
        conceded = [one for one in self.done if one.what == "conceded"]
        ended = any(one.at.date() + timedelta(days=1) < self.shop.today for one in conceded)
        try:
            moves.ship(self.shop.store, self.shop.job, Shipped(""), TECH, self.shop.today)
        except RigError:
            assert last < len(self.done) - 1 or ended or self.has("shipped")
            return
        later = [one.what for one in self.done[last + 1 :] if one.what != "self-check"]
        assert not later, f"shipped although after its release came {later}"
        assert not ended
        self.add("shipped", TECH)

    # --- what the rules say, worked out from the list

    def has(self, *what: str) -> bool:
        return any(one.what in what for one in self.done)

    def of(self, *what: str) -> list[tuple[int, Done]]:
        return [(n, one) for n, one in enumerate(self.done) if one.what in what]

    def broken(self, who: Proved) -> str:
        """The first rule that a release now would break, or nothing."""
        if self.has("shipped"):
            return "it has gone"
        if not self.has("papers", "decontaminated"):
            return "no decontamination statement"
        if not self.has("papers"):
            return "not everything was looked at"
        if "QA" not in who.roles:
            return "not QA"
        runs = [(n, one) for n, one in enumerate(self.done) if "run" in one.what.split()]
        repairs = self.of("repaired")
        hands = {one.by for _, one in runs + repairs + self.of("conceded")}
        if who.name in hands:
            return "tested, repaired or conceded by the same person"
        if self.has("run cut off"):
            return "a run without an end"
        answers = self.of("approved", "refused", "estimate", "beyond")
        if repairs and answers[-1][1].what != "approved":
            return "no approval"
        estimates = self.of("estimate", "beyond")
        if estimates and estimates[-1][1].what == "beyond":
            return "beyond repair"
        return self.broken_tests(repairs[-1][0] if repairs else -1) or self.broken_findings()

    def broken_tests(self, since: int) -> str:
        runs = [(n, one) for n, one in enumerate(self.done) if "run" in one.what.split()]
        for procedure in ("final-inspection", "electrical-safety"):
            own = [(n, one) for n, one in runs if one.name == procedure and n > since]
            if not own or not own[-1][1].sound:
                return f"{procedure} stale, missing or not sound"
            place, last = own[-1]
            if "marked" in last.what or last.what == "simulated run":
                return f"{procedure} cut off or simulated"
            if not self.checked(place, last):
                return "self-check"
            for step, verdict in last.verdicts.items():
                if not self.good_enough(step, verdict, place):
                    return f"{step}: {verdict}"
        for place, repaired in self.of("repaired"):
            for step in MENDED[repaired.name]:
                again = [(n, one) for n, one in runs if n > place and step in one.verdicts]
                if step in ("water-drained", "chassis-reference-resistance") or not again:
                    return f"{step} not measured again"
                number, last = again[-1]
                if not self.speaks(last) or not self.fine(step, last.verdicts[step], number):
                    return f"{step} not good again"
        return ""

    def speaks(self, run: Done) -> bool:
        return run.what not in ("run no pin", "run other unit", "simulated run")

    def fine(self, step: str, verdict: Verdict, place: int) -> bool:
        return verdict in (Verdict.PASS, Verdict.CONDITIONAL_PASS) or self.conceded(step, place)

    def good_enough(self, step: str, verdict: Verdict, place: int) -> bool:
        if verdict is Verdict.PASS or (verdict is Verdict.CONDITIONAL_PASS and step == "idle-current"):
            return True
        return self.conceded(step, place)

    def conceded(self, step: str, place: int) -> bool:
        """A concession of a step that came after, and has not ended."""
        found = [one for n, one in self.of("conceded") if one.name == step and n > place]
        return step not in SAFETY and any(self.shop.today <= one.at.date() + timedelta(days=1) for one in found)

    def checked(self, place: int, run: Done) -> bool:
        checks = self.of("self-check")
        before = [one for n, one in checks if n < place]
        if not before or before[-1].verdicts["short"] is not Verdict.PASS:
            return False
        young = run.at - before[-1].at < timedelta(hours=24)
        return young and all(one.verdicts["short"] is Verdict.PASS for n, one in checks if n > place)

    def broken_findings(self) -> str:
        real = [(n, one) for n, one in enumerate(self.done) if "run" in one.what.split() and one.verdicts]
        for place, one in real:
            for step, verdict in one.verdicts.items():
                if verdict in (*BAD, Verdict.NO_READING, Verdict.STOPPED) and not self.closed(
                    step, verdict, place, real
                ):
                    return f"open finding {step}"
        for place, found in self.of("found"):
            item = found.name
            mended = [n for n, _ in self.of("repaired") if n > place]
            again = [n for n, one in enumerate(self.done) if one.what in ("looked", "papers")
                     and (one.what == "papers" or one.name == item) and mended and n > mended[0]]  # fmt: skip
            excused = item != "relief-valve" and (
                self.explained(f"look:{item}", place) or self.conceded(f"look:{item}", place)
            )
            later = any(n > place and one.name == item for n, one in self.of("found"))
            if not (again or excused or later):
                return f"open finding {item}"
        return ""

    def explained(self, step: str, place: int) -> bool:
        return any(one.name == step and n > place for n, one in self.of("explained"))

    def closed(self, step: str, verdict: Verdict, place: int, runs: list[tuple[int, Done]]) -> bool:
        later = [(n, one) for n, one in runs if n > place and step in one.verdicts]
        if any(one.verdicts[step] in AGAINST for _, one in later):
            return True  # the later one is the one that must be closed
        repairs = [n for n, _ in self.of("repaired") if n > place]
        since = repairs[0] if repairs else None
        good = [
            n for n, one in later if self.speaks(one) and one.verdicts[step] in (Verdict.PASS, Verdict.CONDITIONAL_PASS)
        ]
        passed = since is not None and any(n > since for n in good) if verdict in BAD else bool(good)
        return passed or (step not in SAFETY and (self.explained(step, place) or self.conceded(step, place)))


TestAnyOrder = Life.TestCase
TestAnyOrder.settings = settings(
    max_examples=LIVES,
    stateful_step_count=20,
    deadline=None,
    suppress_health_check=list(HealthCheck),
    print_blob=True,
)
