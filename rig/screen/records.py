"""What the screen reads of the records, in plain values. Nothing is decided here."""

from __future__ import annotations

from dataclasses import dataclass

from rig.errors import RigError


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


def all_jobs(store: str | None) -> list[JobLine]:
    """Every job, the latest first; none where there are no records yet. Raises RigError."""
    from rig.records.job import jobs_of
    from rig.records.store import Store, place_of

    if not place_of(store).may_hold:
        return []
    with Store.open(store) as records:
        found = [
            JobLine(
                j.number,
                j.received.serial,
                j.received.unit,
                j.received.owner,
                j.entries[0].utc,
                j.stage,
                j.move,
                j.closed,
                len(j.entries),
            )
            for j in jobs_of(records)
        ]
    return found[::-1]


def what_blocks(store: str | None, number: str) -> tuple[str, ...]:
    """What stands between a job and its release; nothing where it is released. Raises RigError."""
    from rig.cli.job import page_of
    from rig.records.store import Store

    with Store.open(store, must_exist=True) as records:
        page = page_of(records, number)
    return page.missing if page.job.release is None else ()


def jobs_of_serial(store: str | None, serial: str) -> list[JobLine]:
    """The jobs of a unit, the latest first; none where the records cannot be read: the run will say so."""
    from rig.records.people import same_name

    try:
        return [job for job in all_jobs(store) if same_name(job.serial) == same_name(serial)]
    except RigError:
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
