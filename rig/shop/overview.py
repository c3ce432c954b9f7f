"""All figures of the workshop together, as one JSON value."""

from __future__ import annotations

from datetime import date
from typing import Any

from rig.records.declared import declared
from rig.records.store import Store
from rig.shop import due, figures, step_figures
from rig.shop.figures import Asked
from rig.shop.summary import behind


def overview(store: Store, asked: Asked, today: date, due_days: int) -> dict[str, Any]:
    """The figures of a period; ``behind`` counts entries of the ledger that are not in them yet."""
    own, late = declared(store), behind(store)
    with store.reading() as connection:
        lines = figures.job_lines(connection)
        rates = step_figures.step_rates(connection, asked)
        return {
            "heading": own.heading(),
            "practice": own.practice,
            "since": None if asked.since is None else asked.since.isoformat(),
            "until": None if asked.until is None else asked.until.isoformat(),
            "behind": late,
            "throughput": figures.throughput(lines, asked),
            "first_pass": figures.first_pass(lines, asked),
            "hours": figures.hours(lines, asked),
            "causes": figures.causes(lines, asked),
            "repeat_repairs": figures.repeat_repairs(lines, asked) | {"warranty_days": asked.warranty_days},
            "no_fault_found": figures.no_fault_found(lines, asked),
            "not_cured": figures.not_cured(lines, asked),
            "steps": rates,
            "piling_up": step_figures.piling_up(rates),
            "drifts": step_figures.drifts(connection),
            "calibrations_due": due.calibrations(connection, today, due_days),
            "concessions_due": due.concessions(connection, today, due_days),
        }
