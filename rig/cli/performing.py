"""A run that somebody asks for: the plan put together and proved, then carried out and kept."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from rig.errors import InputError

if TYPE_CHECKING:
    from rig.bench.opening import OpenBench
    from rig.bench.wire_log import WireLog
    from rig.events import Event, RunRecord
    from rig.plan.load import Loaded
    from rig.plan.plan import Plan
    from rig.records.job import Job
    from rig.records.journal import RunFacts
    from rig.records.store import Store
    from rig.run.control import Control
    from rig.run.people import Terminal
    from rig.run.session import RunRequest


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


@dataclass(frozen=True)
class Prepared:
    """What is known before the store is opened for writing: nothing was energized, and nothing is on record."""

    wanted: Wanted
    job: Job | None
    files: list[Loaded]
    plan: Plan
    request: RunRequest


def prepare(wanted: Wanted, ask: Terminal | None, control: Control | None = None) -> Prepared:
    """Put the plan together and prove it; ``ask`` answers the prompts, if anybody does.

    Raises InputError, and RuleError where the job's unit may not reach the bench."""
    from rig.cli import bound
    from rig.plan.load import load_named
    from rig.plan.plan import make_plan
    from rig.run import session

    bound.refuse_far_store(wanted.store)
    job = bound.job_on_record(wanted.store, wanted.job)
    serial, unit = bound.of_the_job(job, wanted.serial, wanted.unit)
    wanted = replace(wanted, serial=serial)
    files = [load_named("procedure", wanted.procedure)]
    files += [load_named("unit-profile", unit), load_named("bench", wanted.bench)]
    plan = make_plan(*files)
    request = replace(_request(plan, ask, wanted, files[0], control), notes=bound.notes_of(job, wanted.job))
    session.refuse_without_people(request, plan)  # before the store is opened, so that it leaves no trace
    return Prepared(wanted, job, files, plan, request)


def run_facts(prepared: Prepared, records: Store) -> RunFacts:
    """What the ledger keeps of the run; whoever runs it proves to be somebody. Raises RuleError, InputError."""
    from rig.cli import bound
    from rig.records.shifts import refuse_unchecked

    plan, wanted = prepared.plan, prepared.wanted
    with records.reading() as connection:
        refuse_unchecked(connection, plan.bench, plan.procedure.procedure, prepared.request.wall())
    return bound.run_facts(records, prepared.job, wanted.by, wanted.pin_file, prepared.files, plan.bench)


def carry_out(
    prepared: Prepared,
    records: Store,
    facts: RunFacts,
    listeners: Sequence[Callable[[Event], None]],
    opened: Callable[[OpenBench], None] | None = None,
    log: WireLog | None = None,
) -> RunRecord:
    """Run it; the record, as it will be read back. ``log`` keeps what is on the wires. Raises as ``run_procedure``."""
    from rig.records.codec import normal_record
    from rig.run import session

    request = prepared.request
    request = replace(request, report=records.report_path(request.run), wire_log=log)
    record = session.run_procedure(
        request, prepared.plan, listeners, lambda run: records.journal(run, facts), opened or session.nothing
    )
    return normal_record(record)


def _request(plan: Plan, ask: Terminal | None, wanted: Wanted, written: Loaded, control: Control | None) -> RunRequest:
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
        ask=ask,
        control=control,
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
