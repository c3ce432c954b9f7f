"""A label for the unit: what it is, which job, and whether it may go."""

from __future__ import annotations

from rig.records.declared import Declared
from rig.records.facts import Decontaminated
from rig.records.job import Job
from rig.reports.certificate import compiled, parts_of, qr_svg
from rig.reports.words import PRACTICE, text


def label(own: Declared, job: Job) -> bytes:
    """The label of a job as PDF: while it is in the workshop, and, released, when it leaves."""
    release, received = job.release, job.received
    clean = job.last(Decontaminated)
    state = f"RELEASED {release[0].utc[:10]}" if release is not None else "NOT RELEASED"
    lines = [
        f"job {text(job.number, 40)}, received {job.entries[0].utc[:10]}",
        text(received.unit, 40),
        f"owner: {text(received.owner, 40)}",
        "decontaminated" if clean is not None else "TREAT AS CONTAMINATED",
        state if not job.closed else f"{state}, {job.closed}",
    ]
    number = release[1].number if release is not None else ""
    said = f"refurb-rig {own.kind} job {job.number} serial {received.serial} {number}".strip()
    data = {
        "date": parts_of(job.entries[-1].utc),
        "title": f"Label of job {text(job.number, 40)}",
        "practice": PRACTICE if own.practice else "",
        "workshop": text(own.name, 60),
        "serial": text(received.serial, 60),
        "lines": lines,
        "qr": qr_svg(said),
    }
    return compiled("label.typ", data)
