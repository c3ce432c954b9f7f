"""Which open jobs a change of a file touches: those of units with that profile, and those whose runs have used it."""

from __future__ import annotations

from collections.abc import Iterator

from rig.records.facts import FileApproved
from rig.records.job import Job, jobs_of
from rig.records.store import Store


def jobs_touched(store: Store, change: FileApproved) -> Iterator[Job]:
    """The jobs that are open and stand on the file that ``change`` puts in force."""
    for job in jobs_of(store):
        if not job.closed and _touches(job, change):
            yield job


def _touches(job: Job, change: FileApproved) -> bool:
    if change.kind == "unit-profile" and job.received.unit == change.name:
        return True
    used = (file for run in job.runs for file in run.began.files)
    return any((file.kind, file.name) == (change.kind, change.name) for file in used)
