"""``rig bench``: how a bench is wired, and whether its instruments answer to their names."""

from __future__ import annotations

import sys
from dataclasses import asdict
from typing import TYPE_CHECKING, Any

import click

from rig.cli.codes import PASSED, STOPPED
from rig.cli.options import json_option, print_json, printable, store_option

if TYPE_CHECKING:
    from rig.bench.rollcall import RollCall
    from rig.cli.printer import Printer
    from rig.events import RunRecord
    from rig.plan.load import Loaded
    from rig.plan.wiring import Bench
    from rig.records.shifts import Chart

SELF_CHECK = "bench-self-check"
CAUTIONS = (
    "Software is not the safety function: the hard-wired emergency stop and contactor are.",
    "Test the emergency stop and the earth-leakage breaker by hand before mains is used.",
)


@click.command("bench")
@click.argument("name")
@click.option("--unit", default="demo-18-dc", show_default=True, help="The unit on a simulated bench.")
@click.option("--self-check", is_flag=True, help="Measure the bench's reference parts as well.")
@click.option("--copy", default="", metavar="FILE", help="Write the bench file to FILE, to make one's own from.")
@click.option("--clear-latch", is_flag=True, help="Clear the latch that an interlock has left; say who with --by.")
@click.option("--by", default="", callback=printable, metavar="NAME", help="Who clears it.")
@store_option
@json_option
def command(
    name: str, unit: str, self_check: bool, copy: str, clear_latch: bool, by: str, store: str | None, as_json: bool
) -> int:
    """Show the wiring of the bench NAME and call the roll of its instruments. Nothing is switched.

    \b
    Examples:
      rig bench simulated
      rig bench simulated --self-check
      rig bench simulated --copy my-bench.yaml
      rig bench my-bench.yaml --clear-latch --by "A. Bench"

    The exit code is 3 when an instrument does not answer to its name, or its calibration has run out; with
    --self-check that of its run. A bench that an interlock has latched says so.
    """
    from rig.bench.opening import StationOrder
    from rig.bench.rollcall import roll_call
    from rig.cli.printer import Printer
    from rig.plan.load import load_named, refusal
    from rig.plan.proof_bench import prove_bench
    from rig.plan.wiring import Bench

    loaded = load_named("bench", name)
    wiring = loaded.model
    assert isinstance(wiring, Bench)
    faults = prove_bench(loaded)
    if faults:  # before anything is spoken to: a simulated bench may name a real instrument
        raise refusal(loaded.file, faults)
    if copy:
        _copy(loaded, copy)
        if as_json:
            print_json({"copy": copy})
        return PASSED
    if clear_latch:
        return _clear_latch(wiring, by)
    roll = roll_call(wiring, StationOrder(unit=unit))
    code = PASSED if all(entry.ok for entry in roll) else STOPPED
    printer = Printer(sys.stderr if as_json else sys.stdout)
    if not as_json:
        _print_wiring(wiring, printer)
        _print_roll(wiring, roll, printer)
    more: dict[str, Any] = {}
    if self_check:
        checked, more = _self_check(wiring, name, unit, store, printer, as_json)
        code = max(code, checked)
    if as_json:
        print_json(_as_json(wiring, roll) | more)
    return code


def _self_check(
    wiring: Bench, name: str, unit: str, store: str | None, printer: Printer, as_json: bool
) -> tuple[int, dict[str, Any]]:
    """Measure the reference parts and hold them against the earlier times; the exit code, and JSON values if asked."""
    from rig.cli.codes import exit_code
    from rig.cli.performing import Wanted
    from rig.cli.run import perform
    from rig.cli.runs import as_json_value
    from rig.cli.shifts import chart_values, print_charts

    printer.line("")
    asked = SELF_CHECK if wiring.in_order is None else wiring.in_order.self_check or SELF_CHECK
    record = perform(Wanted(asked, name, unit, store=store), printer)
    charts = _charts(record, store)
    if as_json:
        return exit_code(record), {"self_check": as_json_value(record), "charts": chart_values(charts)}
    print_charts(charts, printer)
    return exit_code(record), {}


def _charts(record: RunRecord, store: str | None) -> tuple[Chart, ...]:
    """What earlier self-checks on record say of this one."""
    from rig.records.shifts import charts
    from rig.records.store import Store

    with Store.open(store) as records, records.reading() as connection:
        return charts(connection, record)


def _copy(loaded: Loaded, to: str) -> None:
    """Write the file as it stands, comments and all; nothing is overwritten. Raises InputError."""
    from rig.errors import InputError

    try:
        with open(to, "x", encoding="utf-8") as file:
            file.write(loaded.path.read_text(encoding="utf-8"))
    except FileExistsError:
        raise InputError(f"{to} is there already", "Name a file that is not.", to) from None
    except OSError as error:
        raise InputError(f"{to} cannot be written: {error.strerror}", "Name another file.", to) from error
    print(f"{to}: a copy of {loaded.path.name}", file=sys.stderr)


def _clear_latch(wiring: Bench, by: str) -> int:
    """A person says that the reason is found and mended."""
    from rig.bench.claim import claimed
    from rig.bench.latch import clear_latch

    if not by:
        raise click.UsageError("--clear-latch needs --by NAME: a person answers for it")
    with claimed(wiring, wiring.links, wiring.station is not None, even_latched=True):
        why = clear_latch(wiring, by)
    print(f"{wiring.bench}: nothing was latched" if why is None else f"{wiring.bench}: cleared by {by}: {why}")
    return PASSED


def _as_json(wiring: Bench, roll: list[RollCall]) -> dict[str, Any]:
    from rig.bench.latch import latched
    from rig.cli.wiring_tables import wiring_values

    facts = {"bench": wiring.bench, "title": wiring.title, "simulated": wiring.simulated}
    return facts | {
        "cautions": list(CAUTIONS),
        "latched": latched(wiring) if wiring.station is None else None,
        **wiring_values(wiring),
        "roll_call": [asdict(entry) for entry in roll],
    }


def _print_wiring(wiring: Bench, out: Printer) -> None:
    from rig.bench.latch import HOW_TO_CLEAR, latched
    from rig.cli.wiring_tables import wiring_lines
    from rig.plan.visible import visible

    out.line(f"{visible(wiring.bench)}: {visible(wiring.title)}")
    if wiring.simulated:
        out.line("SIMULATED: no real unit is on this bench")
    out.line(*(f"  ! {caution}" for caution in CAUTIONS))
    said = latched(wiring) if wiring.station is None else None
    if said is not None:
        out.line(f"LATCHED since {said['utc']}: {visible(said['why'], 1000)}", f"  {HOW_TO_CLEAR}")
    out.line(*wiring_lines(wiring, out.width))


def _print_roll(wiring: Bench, roll: list[RollCall], out: Printer) -> None:
    from rig.cli.table import table

    rows = [
        (
            entry.name,
            entry.driver,
            entry.link,
            entry.expected,
            _watchdog(wiring, entry.name),
            entry.calibrated_until or "-",
            ("ok: " if entry.ok else "NOT OK: ") + entry.says,
        )
        for entry in roll
    ]
    head = ("instrument", "driver", "link", "serial", "watchdog", "calibrated until", "roll call")
    out.line("", *table(head, rows, out.width))


def _watchdog(wiring: Bench, name: str) -> str:
    """How soon the board itself drops its outputs when it hears nothing."""
    declared = wiring.instruments[name].watchdog if name in wiring.instruments else None
    if declared is None:
        return "-"
    return "none" if declared == "none" else str(declared.time)
