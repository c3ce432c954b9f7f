"""``rig bench``: how a bench is wired, and whether its instruments answer to their names."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from dataclasses import asdict
from typing import TYPE_CHECKING, Any

import click

from rig.cli.codes import PASSED, STOPPED
from rig.cli.options import json_option, print_json, store_option

if TYPE_CHECKING:
    from rig.bench.rollcall import RollCall
    from rig.cli.printer import Printer
    from rig.plan.wiring import Bench

SELF_CHECK = "bench-self-check"
CAUTIONS = (
    "Software is not the safety function: the hard-wired emergency stop and contactor are.",
    "Test the emergency stop and the earth-leakage breaker by hand before mains is used.",
)


@click.command("bench")
@click.argument("name")
@click.option("--unit", default="demo-18-dc", show_default=True, help="The unit on a simulated bench.")
@click.option("--self-check", is_flag=True, help="Measure the bench's reference parts as well.")
@store_option
@json_option
def command(name: str, unit: str, self_check: bool, store: str | None, as_json: bool) -> int:
    """Show the wiring of the bench NAME and call the roll of its instruments. Nothing is switched.

    \b
    Examples:
      rig bench simulated
      rig bench simulated --self-check

    The exit code is 3 when an instrument does not answer to its name; with --self-check that of its run.
    """
    from rig.bench.opening import StationOrder
    from rig.bench.rollcall import roll_call
    from rig.cli.printer import Printer
    from rig.plan.load import load_named
    from rig.plan.wiring import Bench

    wiring = load_named("bench", name).model
    assert isinstance(wiring, Bench)
    roll = roll_call(wiring, StationOrder(unit=unit))
    code = PASSED if all(entry.ok for entry in roll) else STOPPED
    printer = Printer(sys.stderr if as_json else sys.stdout)
    if not as_json:
        _print_wiring(wiring, printer)
        _print_roll(roll, printer)
    record = None
    if self_check:
        from rig.cli.codes import exit_code
        from rig.cli.run import Wanted, perform

        printer.line("")
        record = perform(Wanted(SELF_CHECK, name, unit, store=store), printer)
        code = max(code, exit_code(record))
    if as_json:
        from rig.cli.runs import as_json_value

        checked = None if record is None else as_json_value(record)
        print_json(_as_json(wiring, roll) | ({"self_check": checked} if self_check else {}))
    return code


def _as_json(wiring: Bench, roll: list[RollCall]) -> dict[str, Any]:
    return {
        "bench": wiring.bench,
        "title": wiring.title,
        "simulated": wiring.simulated,
        "cautions": list(CAUTIONS),
        "outputs": _plain(wiring.outputs),
        "inputs": _plain(wiring.inputs),
        "quantities": _plain(wiring.quantities),
        "test_points": _plain(wiring.test_points),
        "roll_call": [asdict(entry) for entry in roll],
    }


def _plain(parts: dict[str, Any]) -> dict[str, Any]:
    """Parts of the wiring as JSON values; quantities as they are written."""
    return {name: _words(part) for name, part in parts.items()}


def _words(value: Any) -> Any:
    from pydantic import BaseModel

    if isinstance(value, dict):
        return {key.rstrip("_"): _words(v) for key, v in value.items()}
    if isinstance(value, list | tuple):
        return [_words(v) for v in value]
    if isinstance(value, BaseModel):
        return _words(dict(value))
    return value if value is None or isinstance(value, bool | int | float | str) else str(value)


def _print_wiring(wiring: Bench, out: Printer) -> None:
    from rig.cli.table import table
    from rig.plan.visible import visible

    out.line(f"{visible(wiring.bench)}: {visible(wiring.title)}")
    if wiring.simulated:
        out.line("SIMULATED: no real unit is on this bench")
    out.line(*(f"  ! {caution}" for caution in CAUTIONS))
    parts: list[tuple[tuple[str, ...], list[tuple[object, ...]]]] = [
        (
            ("output", "at", "feedback", "longest on", "energizes", "what it is"),
            [
                (name, f"{o.instrument}:{o.channel}", o.feedback, o.longest_on, o.energizes, o.for_)
                for name, o in wiring.outputs.items()
            ],
        ),
        (
            ("input", "at", "open / closed", "what it is"),
            [
                (name, f"{i.instrument}:{i.channel}", f"{i.open} / {i.closed}", i.for_)
                for name, i in wiring.inputs.items()
            ],
        ),
        (
            ("quantity", "at", "range", "accuracy", "what it is"),
            [
                (name, f"{q.instrument}:{q.channel}", f"{q.means[0]} to {q.means[1]}", q.accuracy, q.for_)
                for name, q in wiring.quantities.items()
            ],
        ),
        (
            ("test point", "relay", "circuit", "what it is"),
            [
                (name, f"{t.select.instrument}:{t.select.channel}", t.on, f"{t.for_}: {_all(t.measures)}")
                for name, t in wiring.test_points.items()
            ],
        ),
    ]  # fmt: skip
    for head, rows in parts:
        if rows:
            out.line("", *table(head, rows, out.width))


def _all(words: Sequence[str]) -> str:
    return ", ".join(words)


def _print_roll(roll: list[RollCall], out: Printer) -> None:
    from rig.cli.table import table

    rows = [
        (
            entry.name,
            entry.driver,
            entry.link,
            entry.expected,
            entry.calibrated_until or "-",
            ("ok: " if entry.ok else "NOT OK: ") + entry.says,
        )
        for entry in roll
    ]
    head = ("instrument", "driver", "link", "serial", "calibrated until", "roll call")
    out.line("", *table(head, rows, out.width))
