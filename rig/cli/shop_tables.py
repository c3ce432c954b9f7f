"""The workshop's figures as tables at the terminal."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from rig.cli.table import table

if TYPE_CHECKING:
    from rig.cli.printer import Printer
    from rig.records.floor import OnFloor

SHOWN = 12  # lines of a long list; --json and --html have all


def percent(share: float | None) -> str:
    """A share in whole percent."""
    return "–" if share is None else f"{100 * share:.0f} %"


def print_overview(found: dict[str, Any], out: Printer) -> None:
    """All figures, the longest lists cut."""
    out.line(found["heading"])
    out.line(f"from {found['since'] or 'the beginning'} to {found['until'] or 'now'}; steps by whole months")
    if found["behind"]:
        out.line(f"{found['behind']} entries are newer than these figures")
    _work(found, out)
    causes = [(c["cause"], c["repairs"], percent(c["share"]), c["cured"], c["minutes"]) for c in found["causes"]]
    _section(out, "Causes repaired", ("cause", "repairs", "share", "cured", "minutes"), causes)
    _again(found, out)
    _steps(found, out)
    _due(found, out)


def _work(found: dict[str, Any], out: Printer) -> None:
    done = found["throughput"]
    rows = [tuple(row.values()) for row in done["by_month"]]
    _section(out, "Throughput", ("month", "received", "released", "shipped", "returned", "scrapped"), rows[-SHOWN:])
    first, hours = found["first_pass"], found["hours"]
    out.line(f"First-pass yield: {first['passed']} of {first['jobs']} jobs ({percent(first['share'])})")
    for name, what in (("bench", "on the bench"), ("repair", "in hand"), ("door_to_door", "door to door")):
        if hours["jobs"]:
            middle = hours[name]
            out.line(f"Hours {what}, {hours['jobs']} jobs: mean {middle['mean']:.2f}, median {middle['median']:.2f}")


def _again(found: dict[str, Any], out: Printer) -> None:
    again = found["repeat_repairs"]
    of = f"{again['repairs']} of {again['shipped']} shipped ({percent(again['share'])})"
    rows = [(r["job"], r["after"], r["serial"], r["days"], ", ".join(r["now"])) for r in again["jobs"]]
    title = f"Repeat repairs within {again['warranty_days']} days: {of}"
    _section(out, title, ("job", "after job", "serial", "days", "cause"), rows)
    none = found["no_fault_found"]
    site = [(c["cause"], c["jobs"]) for c in none["site_causes"]]
    site += [("unexplained", len(none["unexplained"]))] if none["unexplained"] else []
    title = f"No fault found: {none['jobs']} of {none['inspected']} inspected ({percent(none['share'])})"
    _section(out, title, ("at the owner's", "jobs"), site)
    parts = [(p["part"], p["fitted"], p["did_not_cure"], p["not_measured"]) for p in found["not_cured"]]
    _section(out, "Parts fitted", ("part", "fitted", "did not cure", "not measured again"), parts)


def _steps(found: dict[str, Any], out: Printer) -> None:
    rows = [
        (r["step"], r["procedure"], r["bench"], r["unit"], r["failed"], r["done"], percent(r["share"]))
        for r in found["steps"] if r["failed"]
    ]  # fmt: skip
    _section(out, "Steps that fail", ("step", "procedure", "bench", "profile", "failed", "done", "share"), rows)
    piled = [(r["step"], r["bench"], r["unit"], r["inside"], r["inner"], r["outside"]) for r in found["piling_up"]]
    head = ("step", "bench", "profile", "just inside", "further in", "just outside")
    _section(out, "Readings that pile up just inside a limit", head, piled)
    drifts = [(r["step"], r["bench"], r["unit"], f"{r['centre']:.4g}", f"{r['average']:.4g} {r['in_unit']}")
              for r in found["drifts"]]  # fmt: skip
    _section(out, "Drifts (EWMA outside its limits)", ("step", "bench", "profile", "was", "is"), drifts)


def _due(found: dict[str, Any], out: Printer) -> None:
    rows = [(r["calibrated_until"], _mark(r), r["bench"], r["name"], r["serial"]) for r in found["calibrations_due"]]
    _section(out, "Calibrations due", ("until", "", "bench", "instrument", "serial"), rows)
    rows = [(r["until"], _mark(r), r["job"], r["serial"], r["finding"]) for r in found["concessions_due"]]
    _section(out, "Concessions due", ("until", "", "job", "serial", "finding"), rows)


def _mark(row: dict[str, Any]) -> str:
    return "OVERDUE" if row["overdue"] else ""


def _section(out: Printer, title: str, head: Sequence[str], rows: Sequence[Sequence[object]]) -> None:
    out.line("", title)
    if not rows:
        out.line("  none")
        return
    out.line(*table(head, rows[:SHOWN], out.width))
    if len(rows) > SHOWN:
        out.line(f"  and {len(rows) - SHOWN} more (--json or --html has all)")


def _out() -> Printer:
    from rig.cli.printer import Printer

    return Printer(sys.stdout)


def print_floor(rows: Sequence[OnFloor]) -> None:
    """The floor, one line a bench."""
    out = _out()
    lines = [
        (r.bench, r.procedure, r.serial or "-", r.by or "-", r.since[:16].replace("T", " "),
         r.verdict or f"goes on: {r.known}") for r in rows
    ]  # fmt: skip
    head = ("bench", "procedure", "serial", "by", "since (UTC)", "verdict")
    out.line(*(table(head, lines, out.width) if lines else ["No bench has told the floor anything."]))
    sys.stdout.flush()


def print_measured(found: dict[str, Any]) -> None:
    """Units and runs with readings of an instrument."""
    out = _out()
    out.line(f"named in readings: {', '.join(found['named']) or 'nowhere'}")
    rows = [(r["serial"] or "-", r["job"] or "-", r["utc"][:16].replace("T", " "), r["bench"], r["run"][:13])
            for r in found["runs"]]  # fmt: skip
    out.line(*(table(("serial", "job", "when (UTC)", "bench", "run"), rows, out.width) if rows else ["No runs."]))


def print_retention(found: Sequence[dict[str, Any]], years: int) -> None:
    """Jobs beyond the time for which they are kept."""
    out = _out()
    rows = [(r["job"], r["serial"], r["owner"], r["how"], r["last"][:10]) for r in found]
    head = ("job", "serial", "owner", "how", "last entry")
    out.line(*(table(head, rows, out.width) if rows else [f"No job was closed more than {years} years ago."]))
