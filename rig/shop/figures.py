"""The workshop's figures of a period, from the lines of jobs: each with the rule by which it is counted."""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from statistics import mean, median
from typing import Any

import sqlalchemy as sa

from rig.limits import Verdict
from rig.records import derived
from rig.records.people import same_name
from rig.shop.job_lines import BAD

PASS = str(Verdict.PASS)


@dataclass(frozen=True)
class Asked:
    """What is asked for: a period, both days included (None: from the first, to the last), the procedures that a
    release needs, how long a warranty lasts, and the causes that stay at the owner's."""

    since: date | None
    until: date | None
    release_needs: tuple[str, ...]
    warranty_days: int
    site_causes: Collection[str]

    def holds(self, utc: str | None) -> bool:
        """Whether a moment lies in the period."""
        if utc is None:
            return False
        day = utc[:10]
        early = self.since is not None and day < self.since.isoformat()
        return not early and not (self.until is not None and day > self.until.isoformat())


Line = dict[str, Any]


def job_lines(connection: sa.Connection) -> list[Line]:
    """Every job's line, in the order in which the units came."""
    query = sa.select(derived.job_lines).order_by(derived.job_lines.c.received, derived.job_lines.c.job)
    names = [column.name for column in derived.job_lines.columns]
    lines = [dict(zip(names, row, strict=True)) for row in connection.execute(query)]
    for line in lines:
        line["repairs"], line["firsts"] = json.loads(line["repairs"]), json.loads(line["firsts"])
    return lines


def throughput(lines: Sequence[Line], asked: Asked) -> dict[str, Any]:
    """Units received, released, and gone, in all and by month."""
    months: dict[str, Counter[str]] = {}
    for line in lines:
        for what, utc in (("received", line["received"]), ("released", line["released"]), ("gone", line["closed"])):
            if asked.holds(utc):
                word = line["how"] if what == "gone" else what
                months.setdefault(utc[:7], Counter())[word] += 1
    words = ("received", "released", "shipped", "returned unrepaired", "scrapped")
    by_month = [{"month": m} | {w: months[m][w] for w in words} for m in sorted(months)]
    return {word: sum(count[word] for count in months.values()) for word in words} | {"by_month": by_month}


def first_pass(lines: Sequence[Line], asked: Asked) -> dict[str, Any]:
    """Of the jobs in which each procedure that a release needs has been run: in how many each passed at its first."""
    firsts = [line["firsts"] for line in lines if asked.holds(line["received"])]
    whole = [found for found in firsts if all(p in found for p in asked.release_needs)]
    passed = sum(all(found[p] == PASS for p in asked.release_needs) for found in whole)
    by_procedure = []
    for procedure in asked.release_needs:
        own = [found[procedure] for found in firsts if procedure in found]
        by_procedure.append({"procedure": procedure, "jobs": len(own), "passed": sum(v == PASS for v in own)})
    return {"jobs": len(whole), "passed": passed, "share": _share(passed, len(whole)), "by_procedure": by_procedure}


def hours(lines: Sequence[Line], asked: Asked) -> dict[str, Any]:
    """Hours of the jobs that went out: on the bench, in hand (as logged with repairs), and from door to door."""
    out = [line for line in lines if asked.holds(line["closed"])]
    bench = [line["bench_seconds"] / 3600 for line in out]
    hand = [line["repair_minutes"] / 60 for line in out]
    door = [_days(line["received"], line["closed"]) * 24 for line in out]
    return {"jobs": len(out), "bench": _middle(bench), "repair": _middle(hand), "door_to_door": _middle(door)}


def causes(lines: Sequence[Line], asked: Asked) -> list[dict[str, Any]]:
    """Causes by how often they were repaired, and how often what had failed passed afterwards."""
    repaired: Counter[str] = Counter()
    cured: Counter[str] = Counter()
    minutes: dict[str, list[float]] = {}
    for _, repair in _repairs(lines, asked):
        repaired[repair["cause"]] += 1
        cured[repair["cause"]] += repair["cured"] is True
        minutes.setdefault(repair["cause"], []).append(repair["minutes"])
    total = sum(repaired.values())
    ranked = sorted(repaired, key=lambda cause: (-repaired[cause], cause))
    return [
        {"cause": c, "repairs": repaired[c], "share": _share(repaired[c], total), "cured": cured[c],
         "minutes": round(mean(minutes[c]), 1)} for c in ranked
    ]  # fmt: skip


def not_cured(lines: Sequence[Line], asked: Asked) -> list[dict[str, Any]]:
    """Parts that were fitted, and what had failed did not pass afterwards; work without a part is left out."""
    fitted: Counter[str] = Counter()
    without: dict[str, list[str]] = {}
    unknown: Counter[str] = Counter()
    for line, repair in _repairs(lines, asked):
        for part in repair["parts"]:
            if part["condition"] == "none":
                continue
            fitted[part["part"]] += 1
            unknown[part["part"]] += repair["cured"] is None
            if repair["cured"] is False:
                without.setdefault(part["part"], []).append(line["job"])
    worst = sorted(fitted, key=lambda part: (-len(without.get(part, [])), part))
    return [
        {"part": p, "fitted": fitted[p], "did_not_cure": len(without.get(p, [])), "not_measured": unknown[p],
         "jobs": without.get(p, [])} for p in worst
    ]  # fmt: skip


def repeat_repairs(lines: Sequence[Line], asked: Asked) -> dict[str, Any]:
    """Units that came back within the warranty after they were shipped, and were repaired again."""
    by_serial: dict[str, list[Line]] = {}
    for line in lines:
        by_serial.setdefault(same_name(line["serial"]), []).append(line)
    found = []
    for line in lines:
        if not asked.holds(line["received"]):
            continue
        repairs = line["repairs"]
        earlier = [o for o in by_serial[same_name(line["serial"])]
                   if o["how"] == "shipped" and o["closed"] < line["received"]]  # fmt: skip
        if not earlier or not repairs:
            continue
        before = max(earlier, key=lambda o: str(o["closed"]))
        days = _days(before["closed"], line["received"])
        if days <= asked.warranty_days:
            was = [r["cause"] for r in before["repairs"]]
            now = [r["cause"] for r in repairs]
            found.append({"job": line["job"], "after": before["job"], "serial": line["serial"], "days": round(days, 1),
                          "was": was, "now": now, "same_cause": bool(set(was) & set(now))})  # fmt: skip
    shipped = sum(line["how"] == "shipped" and asked.holds(line["closed"]) for line in lines)
    return {"repairs": len(found), "shipped": shipped, "share": _share(len(found), shipped), "jobs": found}


def no_fault_found(lines: Sequence[Line], asked: Asked) -> dict[str, Any]:
    """Jobs that were inspected, released or closed without any repair and without a failure as found; those whose
    cause stays at the owner's (level, water, load) are explained by it."""
    own = [line for line in lines if asked.holds(line["received"]) and line["as_found"] is not None
           and (line["released"] or line["closed"]) and not line["repairs"]
           and line["as_found"] not in BAD]  # fmt: skip
    site = Counter(line["diagnosed"] for line in own if line["diagnosed"] in asked.site_causes)
    inspected = sum(line["as_found"] is not None and asked.holds(line["received"]) for line in lines)
    ranked = [{"cause": cause, "jobs": count} for cause, count in site.most_common()]
    unexplained = [line["job"] for line in own if line["diagnosed"] not in asked.site_causes]
    return {"jobs": len(own), "inspected": inspected, "share": _share(len(own), inspected), "site_causes": ranked,
            "unexplained": unexplained}  # fmt: skip


def _repairs(lines: Iterable[Line], asked: Asked) -> Iterator[tuple[Line, dict[str, Any]]]:
    for line in lines:
        for repair in line["repairs"]:
            if asked.holds(repair["utc"]):
                yield line, repair


def _share(part: int, whole: int) -> float | None:
    return part / whole if whole else None


def _days(since: str, until: str) -> float:
    return (datetime.fromisoformat(until) - datetime.fromisoformat(since)).total_seconds() / 86400


def _middle(values: Sequence[float]) -> dict[str, float | None]:
    if not values:
        return {"mean": None, "median": None}
    return {"mean": round(mean(values), 3), "median": round(median(values), 3)}
