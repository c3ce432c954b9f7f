"""What the records hold for a diagnosis: one run, or a job with its runs and repairs, or the shop's confirmed cases."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from rig.diagnosis.from_jobs import JobEvidence
    from rig.diagnosis.learn import Case
    from rig.events import RunRecord
    from rig.plan.causes import CauseTable, Observation
    from rig.records.job import Job


@dataclass(frozen=True)
class OnRecord:
    """Runs, oldest first; the job where one was received; unit and complaint as far as they are told."""

    records: tuple[RunRecord, ...] = ()
    job: Job | None = None
    unit: str = ""
    complaint: str = ""

    def evidence(self, observations: Mapping[str, Observation]) -> JobEvidence:
        """What the runs say of a table's observations."""
        from rig.diagnosis.from_jobs import JobEvidence, evidence_of
        from rig.diagnosis.from_runs import from_run

        if self.job is not None:
            by_id = {r.started.run: r for r in self.records}
            return evidence_of(self.job, observations, by_id.get)
        return JobEvidence(tuple(e for r in self.records for e in from_run(observations, r)), ())


def what_is_on_record(run: str | None, number: str | None, url: str | None) -> OnRecord:
    """The records of a run (its id, or the beginning of it) or of a job. Raises InputError where there are none."""
    if run is None and number is None:
        return OnRecord()
    from rig.errors import InputError
    from rig.records.job import find_job
    from rig.records.store import Store

    with Store.open(url, must_exist=True) as store:
        if run is not None:
            record = store.read_run(run)
            return OnRecord((record,), unit=record.started.unit)
        assert number is not None
        with store.reading() as connection:
            job = find_job(connection, number)
        if job is not None:
            here = (store.run_if_here(r.run) for r in job.runs)
            return OnRecord(
                tuple(record for record in here if record is not None), job, job.received.unit, job.received.complaint
            )
        lines = [line for line in store.list_runs(limit=100_000) if line.job == number]
        if not lines:
            raise InputError(f"no run on record belongs to job {number!r}", "Run a procedure for it first.", "--job")
        records = tuple(store.read_run(line.run) for line in reversed(lines))
        return OnRecord(records, unit=records[-1].started.unit)


def shop_cases(url: str | None, table: CauseTable, but: str | None = None) -> tuple[Case, ...]:
    """The shop's confirmed cases of one complaint, without those of the job that is looked at."""
    from rig.diagnosis.from_jobs import cases
    from rig.records.store import Store, place_of

    if not place_of(url).may_hold:
        return ()
    with Store.open(url, must_exist=True) as store:
        return tuple(case for case in cases(store, {table.complaint: table}) if case.case != but)
