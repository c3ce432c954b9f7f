"""What binds a run to a job: the job's unit and serial number, the proof of who runs it, the files and instruments."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING

from rig.cli.standing import file_used
from rig.cli.who import ENVIRONMENT, asked, given_pin
from rig.errors import RuleError
from rig.plan.visible import visible

if TYPE_CHECKING:
    from rig.plan.load import Loaded
    from rig.plan.wiring import Bench
    from rig.records.job import Job
    from rig.records.journal import RunFacts
    from rig.records.store import Store

DEFAULT_UNIT = "demo-18-dc"


def refuse_far_store(store: str | None) -> None:
    """A bench writes to its own disk: no cable to somewhere else may ever hold it up. Raises InputError."""
    from rig.records.place import path_of

    path_of(store, "A run is kept on the bench's own disk; 'rig gather --to URL' sends it on when it is finished.")


def job_on_record(store: str | None, number: str) -> Job | None:
    """The job that a run is for, where a unit was received under that number; else the number is a mere word.

    Raises RuleError when the unit may not reach the bench."""
    from rig.records.job import find_job
    from rig.records.moves import may_reach_bench
    from rig.records.store import Store, place_of

    if not number or not place_of(store).may_hold:
        return None
    with Store.open(store) as records, records.reading() as connection:
        job = find_job(connection, number)
    missing = may_reach_bench(job) if job is not None else ()
    if missing:
        raise RuleError("this unit cannot reach the bench", "", f"job {number}", missing)
    return job


def notes_of(job: Job | None, number: str) -> tuple[str, ...]:
    """What the record of a run says of a job that is not here. It is not refused: the unit may have been received on
    another bench's records, and where all are gathered the run is in that job's story."""
    if not number or job is not None:
        return ()
    return (
        f"no unit was received here as job {visible(number, 60)}, so neither its serial number nor its decontamination "
        "statement was looked at; here this run is in no job's story",
    )


def of_the_job(job: Job | None, serial: str, unit: str | None) -> tuple[str, str]:
    """Serial number and profile of a run: the job's, where it has one. Raises RuleError for another unit's."""
    from rig.records.people import same_name

    if job is None:
        return serial, unit or DEFAULT_UNIT
    own = job.received
    missing = []
    if serial and same_name(serial) != same_name(own.serial):
        missing.append(f"its serial number is {own.serial}, not {serial}")
    is_file = unit is not None and ("/" in unit or unit.endswith((".yaml", ".yml")))
    if unit is not None and not is_file and unit != own.unit:
        missing.append(f"its profile is {own.unit}, not {unit}")
    if missing:
        raise RuleError("this is another unit than the job's", "", f"job {job.number}", tuple(missing))
    return own.serial, unit or own.unit


def run_facts(
    records: Store, job: Job | None, by: str, pin_file: Path | None, files: list[Loaded], bench: Bench
) -> RunFacts:
    """What the ledger keeps of a run beside its events. Raises RuleError for a wrong PIN, InputError."""
    from rig.records.facts import InstrumentOnBench
    from rig.records.journal import RunFacts

    proved = False
    if by and (job is not None or pin_file is not None):
        proved = _proved(records, by, pin_file)
        if job is not None and not proved:
            print("note: run without a PIN, this is no ground for a release", file=sys.stderr)
    instruments = [InstrumentOnBench(n, spec.serial, spec.calibrated_until) for n, spec in bench.instruments.items()]
    by_people = [InstrumentOnBench(n, h.serial, h.calibrated_until) for n, h in bench.hand_instruments.items()]
    return RunFacts(proved, tuple(file_used(file) for file in files), (*instruments, *by_people))


def _proved(records: Store, by: str, pin_file: Path | None) -> bool:
    from rig.records.people import everybody, prove, same_name

    if same_name(by) not in everybody(records):
        return False
    pin = given_pin(pin_file, ENVIRONMENT) or asked(f"PIN of {by} (Enter: none)")
    if pin is None:
        return False
    prove(records, by, pin)
    return True
