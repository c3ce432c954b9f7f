"""The workshop's figures as one page of HTML that needs nothing else."""

from __future__ import annotations

import importlib.resources
from collections.abc import Iterable, Sequence
from typing import Any

from rig.reports import shop_plots
from rig.reports.words import PRACTICE_SAYS, text

Section = dict[str, Any]


def shop_page(found: dict[str, Any]) -> str:
    """The page of what ``rig.shop.overview`` gives. All text in it is escaped, and made safe to show."""
    from jinja2 import Environment, StrictUndefined

    source = importlib.resources.files("rig.reports").joinpath("shop_page.html").read_text(encoding="utf-8")
    environment = Environment(autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True)
    view = {
        "heading": text(found["heading"]),
        "practice": PRACTICE_SAYS if found["practice"] else "",
        "period": f"from {found['since'] or 'the beginning'} to {found['until'] or 'now'}; steps by whole months",
        "behind": found["behind"],
        "numbers": _numbers(found),
        "sections": [*_jobs(found), *_steps(found), *_due(found)],
    }
    return environment.from_string(source).render(view)


def _percent(share: float | None) -> str:
    return "–" if share is None else f"{100 * share:.0f} %"


def _hours(middle: dict[str, float | None]) -> str:
    return "–" if middle["mean"] is None else f"{middle['mean']:.2f} (median {middle['median']:.2f})"


def _numbers(found: dict[str, Any]) -> list[tuple[str, str]]:
    done, first, hours = found["throughput"], found["first_pass"], found["hours"]
    again, none = found["repeat_repairs"], found["no_fault_found"]
    return [
        ("Received, released, shipped", f"{done['received']}, {done['released']}, {done['shipped']}"),
        ("Returned unrepaired, scrapped", f"{done['returned unrepaired']}, {done['scrapped']}"),
        ("First-pass yield", f"{_percent(first['share'])} ({first['passed']} of {first['jobs']} jobs)"),
        ("Hours on the bench, a job", _hours(hours["bench"])),
        ("Hours in hand, a job", _hours(hours["repair"])),
        ("Hours from door to door", _hours(hours["door_to_door"])),
        (f"Repeat repairs within {again['warranty_days']} days",
         f"{again['repairs']} of {again['shipped']} shipped ({_percent(again['share'])})"),
        ("No fault found", f"{none['jobs']} of {none['inspected']} inspected ({_percent(none['share'])})"),
    ]  # fmt: skip


def _section(title: str, says: str, head: Sequence[str], rows: Iterable[Sequence[object]], plot: str = "") -> Section:
    from markupsafe import Markup

    cells = [[text(cell, 200) for cell in row] for row in rows]
    return {"title": title, "says": says, "head": head, "rows": cells, "plot": Markup(plot)}


def _jobs(found: dict[str, Any]) -> list[Section]:
    by_month = found["throughput"]["by_month"]
    head = ("month", "received", "released", "shipped", "returned", "scrapped")
    causes = [(c["cause"], c["repairs"], _percent(c["share"]), c["cured"], c["minutes"]) for c in found["causes"]]
    again = [(r["job"], r["after"], r["serial"], r["days"], ", ".join(r["was"]), ", ".join(r["now"]))
             for r in found["repeat_repairs"]["jobs"]]  # fmt: skip
    none = found["no_fault_found"]
    site = [(c["cause"], c["jobs"]) for c in none["site_causes"]] + [("unexplained", len(none["unexplained"]))]
    parts = [(p["part"], p["fitted"], p["did_not_cure"], p["not_measured"], ", ".join(p["jobs"]))
             for p in found["not_cured"]]  # fmt: skip
    return [
        _section("Throughput", "", head, [tuple(m.values()) for m in by_month], shop_plots.months(by_month)),
        _section("Causes repaired", "Cured: what had failed was measured again after the repair, and was good.",
                 ("cause", "repairs", "share", "cured", "minutes"), causes, shop_plots.causes(found["causes"])),
        _section("Repeat repairs", "", ("job", "after job", "serial", "days", "was", "now"), again),
        _section("No fault found, by what was the matter at the owner's", "", ("cause", "jobs"), site),
        _section("Parts fitted, and whether they cured", "",
                 ("part", "fitted", "did not cure", "not measured again", "jobs"), parts),
    ]  # fmt: skip


def _steps(found: dict[str, Any]) -> list[Section]:
    rates = [(r["step"], r["procedure"], r["bench"], r["unit"], r["done"], r["failed"], _percent(r["share"]),
              f"{_percent(r['low'])} to {_percent(r['high'])}", r["unread"]) for r in found["steps"]]  # fmt: skip
    head = ("step", "procedure", "bench", "profile", "done", "failed", "share", "95 % interval", "no reading")
    piled = [(r["step"], r["bench"], r["unit"], r["inside"], r["inner"], r["outside"], f"{r['piled']:.1f}")
             for r in found["piling_up"]]  # fmt: skip
    drifts = [(r["step"], r["bench"], r["unit"], f"{r['centre']:.5g}", f"{r['average']:.5g}", r["in_unit"],
               f"{r['shift']:+.1f}") for r in found["drifts"]]  # fmt: skip
    return [
        _section("Steps, by bench and profile", "Readings that could not be had are never counted against a unit.",
                 head, rates, shop_plots.failures(found["steps"])),
        _section("Readings that pile up just inside a limit",
                 "More in the last twentieth before a limit than its neighbours let one expect, by more than three "
                 "standard deviations of counting.",
                 ("step", "bench", "profile", "just inside", "further in", "just outside", "deviations"), piled),
        _section("Drifts", "The newer half of the latest values, as an EWMA, against the chart of the older half.",
                 ("step", "bench", "profile", "was", "is", "unit", "shift, in deviations"), drifts,
                 shop_plots.drifts(found["drifts"])),
    ]  # fmt: skip


def _due(found: dict[str, Any]) -> list[Section]:
    instruments = [(r["calibrated_until"], "OVERDUE" if r["overdue"] else "", r["bench"], r["name"], r["serial"])
                   for r in found["calibrations_due"]]  # fmt: skip
    conceded = [(r["until"], "OVERDUE" if r["overdue"] else "", r["job"], r["serial"], r["owner"], r["finding"],
                 r["reason"]) for r in found["concessions_due"]]  # fmt: skip
    return [
        _section("Calibrations due", "", ("until", "", "bench", "instrument", "serial"), instruments),
        _section("Concessions due", "", ("until", "", "job", "serial", "owner", "finding", "reason"), conceded),
    ]
