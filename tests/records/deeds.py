"""What was done to a unit, and what the rules say of it: worked out from that list alone, by other means than the
records use."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta

from rig.limits import Verdict
from rig.records.people import Proved

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


class Deeds:
    """The list, in the order in which it was done; ``today`` is the workshop's day."""

    def __init__(self, today: Callable[[], date]) -> None:
        self.done: list[Done] = []
        self.today = today

    def has(self, *what: str) -> bool:
        return any(one.what in what for one in self.done)

    def of(self, *what: str) -> list[tuple[int, Done]]:
        return [(n, one) for n, one in enumerate(self.done) if one.what in what]

    def known(self, label: str) -> bool:
        """Whether an indicator of this label went in."""
        return any(one.name == label for _, one in self.of("chemical", "biological"))

    def has_failed(self, label: str) -> bool:
        """Whether an indicator was read as failed."""
        return any(one.name == label for _, one in self.of("fail"))

    def stands(self) -> bool:
        """Whether it is released, and nothing of this job has come since. A bench's check of itself is of no job."""
        signed = self.of("released")
        return bool(signed) and all(one.what == "self-check" for one in self.done[signed[-1][0] + 1 :])

    def broken(self, who: Proved) -> str:
        """The first rule that a release now would break, or nothing."""
        if self.has("shipped"):
            return "it has gone"
        if self.stands():
            return "released already"
        if not self.has("papers", "decontaminated"):
            return "no decontamination statement"
        if not self.has("papers"):
            return "not everything was looked at"
        if "QA" not in who.roles:
            return "not QA"
        runs = [(n, one) for n, one in enumerate(self.done) if "run" in one.what.split()]
        repairs = self.of("repaired")
        hands = {one.by for _, one in runs + repairs + self.of("adjusted", "conceded")}
        if who.name in hands:
            return "tested, repaired, adjusted or conceded by the same person"
        if self.has("run cut off"):
            return "a run without an end"
        answers = self.of("approved", "refused", "estimate", "beyond")
        if repairs and answers[-1][1].what != "approved":
            return "no approval"
        estimates = self.of("estimate", "beyond")
        if estimates and estimates[-1][1].what == "beyond":
            return "beyond repair"
        mends = [n for n, _ in self.of("repaired", "adjusted")]
        return self.broken_tests(mends[-1] if mends else -1) or self.broken_findings() or self.broken_indicators()

    def broken_indicators(self) -> str:
        """One without a result; or one that failed, unless after work on the unit another of its kind went in and
        passed."""
        said = {one.name: {r.what for _, r in self.of("pass", "fail") if r.name == one.name}
                for _, one in self.of("chemical", "biological")}  # fmt: skip
        for place, one in self.of("chemical", "biological"):
            if not said[one.name]:
                return f"{one.name} was not read"
            mended = next((n for n, _ in self.of("repaired", "adjusted") if n > place), len(self.done))
            again = [other for n, other in self.of(one.what) if n > mended and said[other.name] == {"pass"}]
            if "fail" in said[one.name] and not again:
                return f"{one.name} failed"
        return ""

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
        return step not in SAFETY and any(self.today() <= one.at.date() + timedelta(days=1) for one in found)

    def checked(self, place: int, run: Done) -> bool:
        checks = self.of("self-check")
        before = [one for n, one in checks if n < place]
        if not before or before[-1].verdicts["short"] is not Verdict.PASS:
            return False
        young = run.at - before[-1].at < timedelta(hours=24)
        return young and all(one.verdicts["short"] is Verdict.PASS for n, one in checks if n > place)

    def broken_findings(self) -> str:
        real = [(n, one) for n, one in enumerate(self.done)
                if "run" in one.what.split() and one.what != "simulated run" and one.verdicts]  # fmt: skip
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
        mends = [n for n, _ in self.of("repaired", "adjusted") if n > place]
        since = mends[0] if mends else None
        good = [
            n for n, one in later if self.speaks(one) and one.verdicts[step] in (Verdict.PASS, Verdict.CONDITIONAL_PASS)
        ]
        passed = since is not None and any(n > since for n in good) if verdict in BAD else bool(good)
        return passed or (step not in SAFETY and (self.explained(step, place) or self.conceded(step, place)))
