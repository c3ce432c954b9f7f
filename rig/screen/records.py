"""What the screen reads of the records, in plain values. Nothing is decided here."""

from __future__ import annotations

from contextlib import suppress
from dataclasses import dataclass
from typing import TYPE_CHECKING

from rig.errors import RigError

if TYPE_CHECKING:
    from rig.records.job import Job


@dataclass(frozen=True)
class JobLine:
    """A job in a line: its number, its unit, what it waits for and by which move, how it ended if it did; how many
    entries it has."""

    number: str
    serial: str
    unit: str
    owner: str
    received: str
    stage: str
    move: str
    closed: str
    entries: int


def jobs(store: str | None, *, closed_too: bool = True, serial: str | None = None) -> list[JobLine]:
    """Jobs, the latest first, or those of one unit; none where there are no records yet. Raises RigError."""
    from rig.cli.standing import due_in
    from rig.records.job import jobs_of
    from rig.records.store import Store, place_of

    if not place_of(store).may_hold:
        return []
    with Store.open(store) as records:
        due = due_in(records)
        return [_line(job, due(job)) for job in jobs_of(records, still_open=not closed_too, serial=serial)][::-1]


def _line(job: Job, due: str) -> JobLine:
    unit, begun = job.received, job.entries[0].utc
    ways = (due, job.move, job.closed, len(job.entries))
    return JobLine(job.number, unit.serial, unit.unit, unit.owner, begun, *ways)


def what_blocks(store: str | None, number: str) -> tuple[str, ...]:
    """What stands between a job and its release; nothing where it is released. Raises RigError."""
    from rig.cli.job import page_of
    from rig.records.store import Store

    with Store.open(store, must_exist=True) as records:
        page = page_of(records, number)
    return page.missing if page.job.release is None else ()


def jobs_of_serial(store: str | None, serial: str) -> list[JobLine]:
    """The jobs of a unit, the latest first; none where the records cannot be read: the run will say so."""
    with suppress(RigError):
        return jobs(store, serial=serial)
    return []


def heading_of(store: str | None) -> str:
    """Whose records these are, and whether they are for practice."""
    from rig.records.declared import declared
    from rig.records.store import Store, place_of

    if not place_of(store).may_hold:
        return ""
    with Store.open(store) as records:
        return declared(records).heading()


def self_check() -> str:
    """The procedure by which a bench checks itself: it is run on no unit."""
    from rig.cli.standing import shop_rules

    return shop_rules(None).self_check.procedure


def complaints() -> list[str]:
    """The complaints that a unit can be received with."""
    from rig.cli.standing import shop_rules

    return list(shop_rules(None).complaints)
