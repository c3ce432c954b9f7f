"""``rig run``: run a procedure on a bench, show it, keep it."""

from __future__ import annotations

import shlex
import sys
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

import click

from rig.cli.options import AT_SCREEN, fault_option, json_option, print_json, printable, store_option, wire_fault_option
from rig.cli.performing import Wanted, carry_out, prepare, run_facts
from rig.cli.who import who_options

if TYPE_CHECKING:
    from rig.cli.printer import Printer
    from rig.events import Event, RunRecord
    from rig.plan.load import Loaded
    from rig.run.people import Terminal
    from rig.run.run_in_log import RunInLog


@click.command("run")
@click.argument("procedure", required=False)
@click.option("--bench", default="simulated", show_default=True, help="A bench's name, or its file.")
@click.option("--unit", help="A unit profile's name, or its file; if not given the job's, else demo-18-dc.")
@click.option("--serial", default="", callback=printable, help="The serial number of the unit.")
@click.option("--job", default="", callback=printable, help="The job that the run belongs to.")
@who_options
@click.option("--answers", metavar="FILE", help="Prepared answers: YAML, the prompt's name and its answer.")
@click.option("--by-hand", "by_hand", multiple=True, metavar="STEP",
              help="Take this step's reading by hand and type it, with the instrument. May repeat.")  # fmt: skip
@fault_option
@wire_fault_option
@click.option("--seed", type=click.IntRange(0, 2**63 - 1), default=0, show_default=True,
              help="Which of the simulated units of this type it is.")  # fmt: skip
@click.option("--pace", type=click.Choice(["lockstep", "real"]),
              help="How time goes on a simulated bench; lockstep if not given.")  # fmt: skip
@click.option("--person", type=click.Choice(["auto", "terminal", "simulated"]), default="auto",
              show_default=True, help="Who answers the prompts.")  # fmt: skip
@click.option("--wire-log", "wire_log", metavar="FILE",
              help="Keep what is on the bench's wires in a new file; 'rig replay FILE' runs it again.")  # fmt: skip
@click.option("--show", metavar="ID", help="Show a run that is on record instead, as 'rig runs ID' does.")
@store_option
@json_option
def command(procedure: str | None, show: str | None, **options: Any) -> int:
    """Run PROCEDURE: a name, or a file.

    \b
    Examples:
      rig run incoming-inspection --unit demo-18-dc --serial LM-0042 --by "A. Bench"
      rig run incoming-inspection --fault rectifier-open --seed 7 --person simulated
      rig run incoming-inspection --by-hand coil-resistance --by "A. Bench"

    Software is not the safety function: the hard-wired emergency stop and contactor are.

    The exit code is 0 when every judged step passed and all is off, 1 when the unit did not pass, 2 when the
    input is wrong, 3 when the run was stopped or a reading could not be had, 128 + n after signal n.
    """
    if (procedure is None) == (show is None):
        raise click.UsageError("expected a PROCEDURE to run, or --show ID")
    from rig.cli.runs import as_json_value, show_run

    as_json: bool = options.pop("as_json")
    if procedure is None or show is not None:
        return show_run(show or "", options["store"], as_json)
    from rig.cli.codes import exit_code
    from rig.cli.printer import Printer

    record = perform(Wanted(procedure, **options), Printer(sys.stderr if as_json else sys.stdout))
    if as_json:
        print_json(as_json_value(record))
    return exit_code(record)


def perform(wanted: Wanted, printer: Printer) -> RunRecord:
    """Put the plan together, run it, show it, keep it; the record, as it will be read back."""
    from rig.cli.asking import Asking
    from rig.cli.live import Live
    from rig.cli.progress import facts_of
    from rig.plan.visible import visible
    from rig.records.declared import declared
    from rig.records.store import Store

    prepared = prepare(wanted, _ask(printer, wanted.person))
    request, plan = prepared.request, prepared.plan
    with Store.open(wanted.store) as records:
        for cut_off in records.mark_interrupted():
            print(f"note: run {cut_off} had been cut off; it is marked as interrupted", file=sys.stderr)
        if prepared.job is not None:
            printer.line(visible(declared(records).heading(), 400))
        facts = run_facts(prepared, records)
        again = "" if AT_SCREEN.get() else f"rig runs {request.run[:13]}"
        again += f" --store {shlex.quote(wanted.store)}" if again and wanted.store else ""
        pace = 0.0 if request.lockstep else 1.0 if plan.bench.station else plan.bench.speed
        asking = request.ask if isinstance(request.ask, Asking) else None
        with Live(printer, facts_of(plan), pace=pace, asks=asking is not None, again=again) as live:
            listeners: list[Callable[[Event], None]] = [live]
            if asking is not None:
                listeners.append(asking.take)
            with _logged(wanted, prepared.files) as told:
                log = told.log if told is not None else None
                listeners += [] if told is None else [told]
                opened = None if told is None else told.opened
                return carry_out(prepared, records, facts, listeners, opened, log)


@contextmanager
def _logged(wanted: Wanted, files: Sequence[Loaded]) -> Iterator[RunInLog | None]:
    """A wire log where one is wanted. Raises InputError where it cannot be begun; says so when it is not whole."""
    if wanted.wire_log is None:
        yield None
        return
    from rig.bench.wire_log import WireLog
    from rig.run.run_in_log import RunInLog

    log = WireLog.create(wanted.wire_log)
    try:
        yield RunInLog(log, {f.kind: f for f in files}, wanted.by_hand, wanted.by)
    finally:
        log.close()
        if log.lost:
            print(f"note: the wire log is not whole: {log.lost}", file=sys.stderr)


def _ask(printer: Printer, person: str) -> Terminal | None:
    """Who answers at the terminal, if anybody does."""
    from rig.cli.asking import Asking

    stdin = sys.stdin
    at_terminal = stdin is not None and not stdin.closed and stdin.isatty()
    if person == "simulated" or (person == "auto" and not at_terminal):
        return None
    try:
        return Asking(printer)
    except (OSError, ValueError, AttributeError):  # a stream without a file behind it, or none at all
        return None
