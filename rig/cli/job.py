"""``rig job N``: one job, and the moves that have no command of their own."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING, Any

import click

from rig.cli.codes import PASSED
from rig.cli.job_indicators import MOVES
from rig.cli.options import Numbered, json_option, print_json, store_option

if TYPE_CHECKING:
    from rig.cli.job_page import JobPage
    from rig.records.store import Store


@click.group("job", cls=Numbered, invoke_without_command=True, commands=MOVES)
@click.argument("number", metavar="JOB")
@store_option
@json_option
@click.pass_context
def command(ctx: click.Context, number: str, store: str | None, as_json: bool) -> int:
    """Show JOB: what is on record, what is open, what is missing for its release. Or make a move.

    \b
    Examples:
      rig job 7
      rig job 7 diagnose --cause rectifier-open --words "11.9 V under load" --by "A. Bench"
      rig job 7 estimate --price 90 --currency EUR --by "A. Bench"
      rig job 7 answer approved --owner "S. Miller" --how telephone --by "A. Bench"

    A move that the rules do not allow ends with exit code 4 and says everything that is missing.
    """
    if ctx.invoked_subcommand is not None:
        return PASSED
    from rig.cli.printer import Printer
    from rig.records.store import Store

    with Store.open(store, must_exist=True) as records:
        page = page_of(records, number)
    if as_json:
        from rig.cli.job_page import page_json

        print_json(page_json(page))
    else:
        from rig.cli.job_page import print_page

        print_page(page, Printer(sys.stdout))
    return PASSED


def page_of(records: Store, number: str) -> JobPage:
    """Read what the page of a job shows."""
    from rig.cli.job_page import JobPage
    from rig.cli.standing import shop_rules, standing_for
    from rig.records.findings import findings, results_of
    from rig.records.job import job_of
    from rig.records.ledger_problems import follow_one
    from rig.records.release import due, still_to_run, what_is_missing
    from rig.records.touched import put_in_force_meanwhile
    from rig.records.warranty import baseline

    job = job_of(records, number)
    standing = standing_for(records, job, shop_rules(records))
    with records.reading() as connection:
        results = results_of(connection, job)
        against = findings(job, results, standing.rules, standing.today, standing.own.practice)
        missing = what_is_missing(connection, number, standing, None, follow_one(connection, job.entries))
        changes = put_in_force_meanwhile(connection, job)
        to_run, next_move = still_to_run(job, standing.rules), due(job, standing.rules)
        return JobPage(standing.own, job, against, missing, baseline(connection, job), changes, to_run, next_move)


@click.command("jobs")
@click.option("--serial", help="Only jobs of the unit with this serial number.")
@click.option("--all", "everything", is_flag=True, help="Closed jobs, too.")
@store_option
@json_option
def jobs_command(serial: str | None, everything: bool, store: str | None, as_json: bool) -> int:
    """List the jobs, and what each waits for.

    \b
    Example:
      rig jobs --serial LM-0042 --all
    """
    from rig.cli.printer import Printer
    from rig.cli.standing import due_in
    from rig.cli.table import table
    from rig.records.declared import declared
    from rig.records.job import jobs_of
    from rig.records.store import Store

    with Store.open(store, must_exist=True) as records:
        own = declared(records)
        found = list(jobs_of(records, still_open=serial is None and not everything, serial=serial))
        due = due_in(records)
    if as_json:
        rows: list[dict[str, Any]] = [
            {
                "job": job.number,
                "stage": job.stage,
                "serial": job.received.serial,
                "unit": job.received.unit,
                "owner": job.received.owner,
                "received": job.entries[0].utc,
                "warranty_of": job.received.warranty_of,
            }
            for job in found
        ]
        print_json(rows)
        return PASSED
    out = Printer(sys.stdout)
    out.line(own.heading())
    lines = [(j.number, j.entries[0].utc[:10], j.received.serial, due(j), j.received.owner) for j in found]
    head = ("job", "received", "serial", "next", "owner")
    out.line(*(table(head, lines, out.width) if lines else ["No jobs here."]))
    return PASSED
