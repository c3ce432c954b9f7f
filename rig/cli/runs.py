"""``rig runs``: the runs on record."""

from __future__ import annotations

import sys
from dataclasses import asdict
from typing import TYPE_CHECKING, Any

import click

from rig.cli.codes import PASSED
from rig.cli.options import json_option, print_json, printable, store_option
from rig.plan.visible import visible

if TYPE_CHECKING:
    from rig.cli.printer import Printer
    from rig.events import RunRecord
    from rig.records.read import RunLine

GOES_ON = "the run is still going on"


@click.command("runs")
@click.argument("run", metavar="[ID]", required=False)
@click.option("--serial", callback=printable, help="Only runs of the unit with this serial number.")
@click.option("--limit", type=click.IntRange(1, 100_000), default=20, show_default=True, help="How many.")
@store_option
@json_option
def command(run: str | None, serial: str | None, limit: int, store: str | None, as_json: bool) -> int:
    """List the latest runs, or tell the one whose ID begins so.

    \b
    Examples:
      rig runs --serial LM-0042
      rig runs 019f22e2 --json

    With --json one run is printed as 'rig run --json' did.
    """
    if run is not None:
        return show_run(run, store, as_json)
    from rig.cli.printer import Printer
    from rig.records.declared import declared
    from rig.records.store import Store

    if store is None and not _anything_kept():
        lines: tuple[RunLine, ...] = ()
        heading = ""
    else:
        with Store.open(store, must_exist=True) as records:
            lines, heading = records.list_runs(serial, limit), declared(records).heading()
    if as_json:
        print_json([_row(line) for line in lines])
    else:
        _print_list(lines, heading, Printer(sys.stdout))
    return PASSED


def show_run(run: str, store: str | None, as_json: bool) -> int:
    """Tell one run: as JSON, or as it was seen."""
    from rig.cli.live import Live
    from rig.cli.printer import Printer
    from rig.events import RunEnded
    from rig.records.store import Store

    with Store.open(store, must_exist=True) as records:
        stored = records.stored_run(run)
    if as_json:
        print_json(as_json_value(stored.record, stored.interrupted, stored.running))
        return PASSED
    with Live(Printer(sys.stdout, terminal=False)) as live:
        for event in stored.events:
            if not isinstance(event, RunEnded):
                live(event)
        if not stored.running:
            live(stored.record.ended)
    if stored.running:
        print("", GOES_ON, sep="\n")
    return PASSED


def as_json_value(record: RunRecord, interrupted: bool = False, running: bool = False) -> dict[str, Any]:
    """The JSON of a run. One that was cut off says so, and claims no duration that nobody measured; one that is still
    going on claims no end at all."""
    from rig.events import run_dict

    value = run_dict(record)
    if running:
        open_end = {"verdict": None, "reason": GOES_ON, "all_off": None}
        return value | open_end | {"wall_seconds": None, "interrupted": False, "running": True}
    return value | {"wall_seconds": None, "interrupted": True} if interrupted else value


def _anything_kept() -> bool:
    from rig.records.store import default_path

    return default_path().exists()


def _row(line: RunLine) -> dict[str, Any]:
    if line.running:
        return asdict(line) | {"reason": GOES_ON}
    return asdict(line) | {"verdict": str(line.verdict)}


def _print_list(lines: tuple[RunLine, ...], heading: str, out: Printer) -> None:
    from rig.cli.table import table

    if not lines:
        out.line("No runs are on record here.")
        return
    rows = []
    for line in lines:
        if line.verdict is None:
            verdict = f"goes on: {line.known}"
        else:
            verdict = f"{out.looks.sign(line.verdict)} {line.verdict}"
            verdict += f" (interrupted: {line.known})" if line.interrupted else ""
        mark = " SIMULATED" if line.simulated else ""
        when = line.utc[:16].replace("T", " ")
        rows.append((line.short, when, line.procedure, line.serial or "-", verdict + mark))
    out.line(*table(("id", "when (UTC)", "procedure", "serial", "verdict"), rows, out.width))
    out.line(visible(heading, 400))
