"""``rig shop``: the workshop's figures, its floor, and what is on record of one unit or customer."""

from __future__ import annotations

import sys
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from rig.cli.codes import PASSED
from rig.cli.options import inherited_store_option, json_option, print_json, printable, say, store_option
from rig.errors import InputError

if TYPE_CHECKING:
    from rig.records.store import Store

DAY = click.DateTime(formats=["%Y-%m-%d"])


@click.group("shop", invoke_without_command=True)
@click.option("--since", type=DAY, metavar="YYYY-MM-DD", help="The first day; else from the beginning.")
@click.option("--until", type=DAY, metavar="YYYY-MM-DD", help="The last day; else up to now.")
@click.option("--warranty-days", type=click.IntRange(1, 3650), default=90, show_default=True,
              help="How long after shipping a repair counts as a repeat.")  # fmt: skip
@click.option("--due-days", type=click.IntRange(0, 3650), default=30, show_default=True,
              help="How far ahead the due lists look.")  # fmt: skip
@click.option("--rules", default="low-mill", show_default=True, help="The shop's rules: a name, or a file.")
@click.option("--html", "page", type=click.Path(path_type=Path, dir_okay=False), metavar="FILE",
              help="Write one page with plots that needs nothing else.")  # fmt: skip
@store_option
@json_option
@click.pass_context
def command(ctx: click.Context, since: Any, until: Any, warranty_days: int, due_days: int, rules: str,
            page: Path | None, store: str | None, as_json: bool) -> int:  # fmt: skip
    """The workshop's figures: throughput, first-pass yield, hours, causes, repeats, drifts, what falls due.

    \b
    Examples:
      rig shop --store postgresql+psycopg://reports@shop/records --since 2026-01-01
      rig shop --html figures.html
      rig shop floor --store postgresql+psycopg://reports@shop/records
      rig shop measured-with M1 --since 2026-03-01 --until 2026-03-31
      rig shop export --serial LM-0042 everything.json

    Works on the records of a bench, too. Simulated runs count in a practice store alone.
    """
    if ctx.invoked_subcommand is not None:
        return PASSED
    from rig.cli.shop_tables import print_overview
    from rig.cli.standing import shop_rules, site_causes, today
    from rig.records.store import Store
    from rig.shop.figures import Asked
    from rig.shop.overview import overview

    with Store.open(store, must_exist=True) as records:
        _up_to_date(records)
        needs = shop_rules(records, rules).release_needs
        asked = Asked(_day(since), _day(until), needs, warranty_days, site_causes())
        found = overview(records, asked, today(), due_days)
    if page is not None:
        from rig.reports.shop_page import shop_page

        _write(page, shop_page(found))
    if as_json:
        print_json(found)
    elif page is None:
        from rig.cli.printer import Printer

        print_overview(found, Printer(sys.stdout))
    else:
        print(f"written: {page}")
    return PASSED


def _day(found: Any) -> date | None:
    return None if found is None else found.date()


def _up_to_date(records: Store) -> None:
    """Take in what is new, where this user may; who may only read sees the figures as they are, and how far behind."""
    from rig.errors import RecordError
    from rig.shop.summary import behind, bring_up_to_date

    if behind(records):
        try:
            bring_up_to_date(records)
        except RecordError as fault:
            if "allow" not in fault.what and "only be read" not in fault.what:
                raise
            print("note: this user may only read; the figures are those of the last gathering", file=sys.stderr)


def _write(path: Path, text: str) -> None:
    try:
        path.write_text(text, encoding="utf-8")
    except OSError as fault:
        raise InputError(f"cannot be written: {fault.strerror or fault}", "Name another file.", str(path)) from None


@command.command("floor")
@click.option("--once", is_flag=True, help="Print what is going on, and end.")
@inherited_store_option
@json_option
def floor_command(store: str | None, once: bool, as_json: bool) -> int:
    """Who runs what, since when, and how it came out; on a terminal it is renewed as it changes.

    \b
    Example:
      rig shop floor --store postgresql+psycopg://reports@shop/records

    A bench tells the floor while 'rig gather --follow' runs beside it.
    """
    from dataclasses import asdict

    from rig.cli.shop_tables import print_floor
    from rig.records.floor import on_floor, watch
    from rig.records.store import Store

    with Store.open(store, must_exist=True) as records:
        if as_json:
            print_json([asdict(row) for row in on_floor(records)])
            return PASSED
        if once:
            print_floor(on_floor(records))
            return PASSED
        for rows in watch(records, QUIET_SECONDS):
            print_floor(rows)
    return PASSED


QUIET_SECONDS = 30.0  # without any news the table is printed again after this time: it is seen to live


@command.command("measured-with")
@click.argument("instrument", callback=printable)
@click.option("--since", type=DAY, metavar="YYYY-MM-DD", help="The first day.")
@click.option("--until", type=DAY, metavar="YYYY-MM-DD", help="The last day.")
@inherited_store_option
@json_option
def measured_command(instrument: str, since: Any, until: Any, store: str | None, as_json: bool) -> int:
    """Which units have readings of INSTRUMENT (its name, its serial number, or a part of them) in a period.

    \b
    Example:
      rig shop measured-with M1 --since 2026-03-01 --until 2026-03-31
    """
    from rig.cli.shop_tables import print_measured
    from rig.records.store import Store
    from rig.shop.due import measured_with
    from rig.shop.figures import Asked

    with Store.open(store, must_exist=True) as records:
        _up_to_date(records)
        with records.reading() as connection:
            found = measured_with(connection, instrument, Asked(_day(since), _day(until), (), 0, ()))
    if as_json:
        print_json(found)
    else:
        print_measured(found)
    return PASSED


@command.command("export")
@click.argument("file", type=click.Path(path_type=Path, dir_okay=False))
@click.option("--serial", default="", callback=printable, help="Everything about this unit.")
@click.option("--owner", default="", callback=printable, help="Everything about this customer's reference.")
@inherited_store_option
@json_option
def export_command(file: Path, serial: str, owner: str, store: str | None, as_json: bool) -> int:
    """Write everything on record about one unit, or one customer, into FILE (JSON).

    \b
    Example:
      rig shop export --owner "Practice Miller" miller.json
    """
    import json

    from rig.records.store import Store
    from rig.shop.one import everything

    if bool(serial) == bool(owner):
        raise InputError("expected one of --serial and --owner", "Say what the export is about.", "--serial")
    with Store.open(store, must_exist=True) as records:
        found = everything(records, serial, owner)
    if not found["jobs"] and not found["runs"]:
        raise InputError(f"nothing is on record of {serial or owner!r}", "'rig jobs --all' lists units and owners.")
    _write(file, json.dumps(found, indent=1, ensure_ascii=True) + "\n")
    jobs, runs = len(found["jobs"]), len(found["runs"])
    say(f"written: {file}, {jobs} jobs and {runs} runs", {"file": str(file), "jobs": jobs, "runs": runs}, as_json)
    return PASSED


@command.command("retention")
@click.option("--years", type=click.IntRange(1, 100), required=True, help="How long records must be kept.")
@inherited_store_option
@json_option
def retention_command(years: int, store: str | None, as_json: bool) -> int:
    """List the jobs that were closed longer ago than records must be kept.

    \b
    Example:
      rig shop retention --years 10

    How long that is, your contracts and the law say. Nothing is taken out of the records, whose chains would break:
    export what you must hand over, and begin another store when a whole one is beyond its time.
    """
    from rig.cli.shop_tables import print_retention
    from rig.cli.standing import today
    from rig.records.store import Store
    from rig.shop.one import beyond_keeping

    with Store.open(store, must_exist=True) as records:
        found = beyond_keeping(records, years, today())
    if as_json:
        print_json(found)
    else:
        print_retention(found, years)
    return PASSED
