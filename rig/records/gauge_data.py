"""The readings of a gauge study: one run of its procedure a reading, by whom and of which part (its serial)."""

from __future__ import annotations

from dataclasses import dataclass

import sqlalchemy as sa

from rig.errors import InputError
from rig.records import schema

Cell = tuple[str, str]  # person, part
Found = dict[Cell, list[tuple[float, str]]]  # values and units, oldest first


@dataclass(frozen=True)
class StudyData:
    """A crossed study: ``values`` by person, trial and part, in ``unit``; trials in the order of their runs."""

    people: tuple[str, ...]
    parts: tuple[str, ...]
    unit: str
    values: tuple[tuple[tuple[float, ...], ...], ...]


def readings_of(connection: sa.Connection, procedure: str, step: str, bench: str) -> Found:
    """Every reading of a step on a bench, by person and part, oldest first: value and unit."""
    q, r = schema.readings.c, schema.runs.c
    query = (
        sa.select(r.by, r.serial, q.value, q.unit)
        .join(schema.runs, r.run == q.run)
        .where(r.procedure == procedure, r.bench == bench, q.step == step)
        .where(q.bound.is_(None), q.value.is_not(None))
        .order_by(r.run, q.seq)
    )
    found: Found = {}
    for by, serial, value, unit in connection.execute(query):
        if by and serial:
            found.setdefault((by, serial), []).append((float(value), str(unit)))
    return found


def study_of(found: Found, what: str) -> StudyData:
    """The crossed study in some readings: as many trials as every person has made of every part.

    Raises InputError where the study is not crossed: ``what`` says of what, and the message names what is missing.
    """
    people, parts = (tuple(dict.fromkeys(cell[n] for cell in found)) for n in (0, 1))
    missing = [f"{part} by {person}" for person in people for part in parts if (person, part) not in found]
    if not found or missing:
        listed = "; missing: " + ", ".join(missing[:5]) + (", …" if len(missing) > 5 else "") if missing else ""
        do = "Every person measures every part: rig run with --by PERSON --serial PART, or --people and --parts here."
        raise InputError(f"there is no crossed study of {what} on record{listed}", do)
    units = {unit for some in found.values() for _, unit in some}
    if len(units) > 1:
        raise InputError(
            f"the readings of {what} are in {' and '.join(sorted(units))}", "Study one quantity at a time."
        )
    trials = min(len(some) for some in found.values())
    values = tuple(
        tuple(tuple(found[person, part][trial][0] for part in parts) for trial in range(trials)) for person in people
    )
    return StudyData(people, parts, units.pop(), values)
