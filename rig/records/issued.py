"""Which papers were made of a release, by their hashes: what was sent can be told from what was not."""

from __future__ import annotations

from rig.records import ledger
from rig.records.facts import PaperIssued
from rig.records.job import read_job
from rig.records.ledger import job_subject
from rig.records.store import Store


def note_paper(store: Store, number: str, release: str, paper: str, sha256: str) -> None:
    """Keep that a paper was made; a further copy of the same bytes is no other paper."""
    fact = PaperIssued(release, paper, sha256)
    with store.writing() as connection:
        if not any(known == fact for _, known in read_job(connection, number).all(PaperIssued)):
            ledger.append(connection, fact, subject=job_subject(number))
