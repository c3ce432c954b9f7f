"""``rig run``: run a procedure on a bench, show it, keep it."""

from __future__ import annotations

import shlex
import sys
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from rig.cli.options import fault_option, json_option, print_json, printable, store_option, wire_fault_option
from rig.cli.who import who_options
from rig.errors import InputError

if TYPE_CHECKING:
    from rig.cli.printer import Printer
    from rig.events import Event, RunRecord
    from rig.plan.load import Loaded
    from rig.plan.plan import Plan
    from rig.run.people import Terminal
    from rig.run.run_in_log import RunInLog
    from rig.run.session import RunRequest


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


@dataclass(frozen=True)
class Wanted:
    """What a command line asks for."""

    procedure: str
    bench: str = "simulated"
    unit: str | None = None
    serial: str = ""
    job: str = ""
    by: str = ""
    pin_file: Path | None = None
    answers: str | None = None
    by_hand: tuple[str, ...] = ()
    faults: tuple[tuple[str, float], ...] = ()
    wire_faults: tuple[tuple[str, str, int | None], ...] = ()
    seed: int = 0
    pace: str | None = None
    person: str = "auto"
    wire_log: str | None = None
    store: str | None = None


def perform(wanted: Wanted, printer: Printer) -> RunRecord:
    """Put the plan together, run it, show it, keep it; the record, as it will be read back."""
    from rig.cli import bound
    from rig.cli.asking import Asking
    from rig.cli.live import Live
    from rig.cli.progress import facts_of
    from rig.plan.load import load_named
    from rig.plan.plan import make_plan
    from rig.plan.visible import visible
    from rig.records.codec import normal_record
    from rig.records.declared import declared
    from rig.records.shifts import refuse_unchecked
    from rig.records.store import Store
    from rig.run import session

    bound.refuse_far_store(wanted.store)
    job = bound.job_on_record(wanted.store, wanted.job)
    serial, unit = bound.of_the_job(job, wanted.serial, wanted.unit)
    wanted = replace(wanted, serial=serial)
    files = [load_named("procedure", wanted.procedure)]
    files += [load_named("unit-profile", unit), load_named("bench", wanted.bench)]
    plan = make_plan(*files)
    request = _request(plan, printer, wanted, files[0])
    session.refuse_without_people(request, plan)  # before the store is opened, so that it leaves no trace
    with Store.open(wanted.store) as records:
        for cut_off in records.mark_interrupted():
            print(f"note: run {cut_off} had been cut off; it is marked as interrupted", file=sys.stderr)
        if job is not None:
            printer.line(visible(declared(records).heading(), 400))
        with records.reading() as connection:
            refuse_unchecked(connection, plan.bench, plan.procedure.procedure, request.wall())
        facts = bound.run_facts(records, job, wanted.by, wanted.pin_file, files, plan.bench)
        request = replace(request, report=records.report_path(request.run))
        again = f"rig runs {request.run[:13]}"
        again += f" --store {shlex.quote(wanted.store)}" if wanted.store else ""
        pace = 0.0 if request.lockstep else 1.0 if plan.bench.station else plan.bench.speed
        asking = request.ask if isinstance(request.ask, Asking) else None
        with Live(printer, facts_of(plan), pace=pace, asks=asking is not None, again=again) as live:
            listeners: list[Callable[[Event], None]] = [live]
            if asking is not None:
                listeners.append(asking.take)
            with _logged(wanted, files) as told:
                request = replace(request, wire_log=told.log if told is not None else None)
                listeners += [] if told is None else [told]
                opened = session.nothing if told is None else told.opened
                record = session.run_procedure(
                    request, plan, listeners, lambda run: records.journal(run, facts), opened
                )
    return normal_record(record)


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


def _request(plan: Plan, printer: Printer, wanted: Wanted, written: Loaded) -> RunRequest:
    from rig.records.ids import new_run_id
    from rig.run import session

    return session.RunRequest(
        run=new_run_id(),
        serial=wanted.serial,
        job=wanted.job,
        by=wanted.by,
        faults=wanted.faults,
        wire_faults=wanted.wire_faults,
        seed=wanted.seed,
        lockstep=_lockstep(plan, wanted.pace),
        person=wanted.person,
        answers=_prepared(plan, wanted, written),
        by_hand=wanted.by_hand,
        ask=_ask(printer, wanted.person),
    )


def _prepared(plan: Plan, wanted: Wanted, written: Loaded) -> dict[str, str]:
    """Prepared answers. One for a prompt that the procedure, as it is written, has for other units only is let be."""
    from rig.cli.answers import read_answers
    from rig.plan.procedure import Procedure
    from rig.run.prompts import names_of_prompts, prompts_after_pause, prompts_of

    if wanted.answers is None:
        return {}
    assert isinstance(written.model, Procedure)
    prompts = [*prompts_of(plan, wanted.by_hand), *prompts_after_pause(plan)]
    return read_answers(wanted.answers, prompts, names_of_prompts(written.model))


def _lockstep(plan: Plan, pace: str | None) -> bool:
    has_clock = plan.bench.station is not None
    if pace == "lockstep" and not has_clock:
        what = f"bench {plan.bench.bench} has no station of its own, so its time is the wall's"
        raise InputError(what, "Leave --pace out, or give --pace real.", "--pace")
    return has_clock and pace != "real"


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
