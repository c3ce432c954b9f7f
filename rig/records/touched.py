"""Which jobs a change of a file touches: those of units with that profile, and those whose runs have used it."""

from __future__ import annotations

from collections.abc import Iterator

import sqlalchemy as sa

from rig.records import ledger
from rig.records.facts import FileApproved, FileUsed
from rig.records.job import Job, jobs_of
from rig.records.ledger import Kept
from rig.records.store import Store


def jobs_touched(store: Store, change: FileApproved) -> Iterator[Job]:
    """The jobs that are open and stand on the file that ``change`` puts in force."""
    for job in jobs_of(store, still_open=True):
        if _touches(job, change):
            yield job


def put_in_force_meanwhile(connection: sa.Connection, job: Job) -> tuple[Kept, ...]:
    """The files that were put in force since a job was received, and that touch it, in the order of the ledger."""
    since = job.entries[0].utc
    return tuple(
        entry
        for entry in ledger.read(connection, kinds=(FileApproved,))
        if isinstance(entry.fact, FileApproved) and entry.utc >= since and _touches(job, entry.fact)
    )


def other_files(job: Job) -> dict[str, tuple[tuple[FileUsed, FileUsed], ...]]:
    """By run: the files that were not the same any more as in the job's run before that used them, each as it was and
    as it was then."""
    last: dict[tuple[str, str], FileUsed] = {}
    found = {}
    for run in job.runs:
        now = {(file.kind, file.name): file for file in run.began.files}
        both = ((last[key], file) for key, file in now.items() if key in last)
        found[run.run] = tuple((was, is_now) for was, is_now in both if was.sha256 != is_now.sha256)
        last |= now
    return {run: changed for run, changed in found.items() if changed}


def _touches(job: Job, change: FileApproved) -> bool:
    if change.kind == "unit-profile" and job.received.unit == change.name:
        return True
    used = (file for run in job.runs for file in run.began.files)
    return any((file.kind, file.name) == (change.kind, change.name) for file in used)
