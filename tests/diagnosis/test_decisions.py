"""In the tables' own world: units drawn from the tables, followed by the advice and in the written order.

This shows that the table agrees with itself; what it is worth on units that behave by physics, ``evaluate`` shows.
"""

from __future__ import annotations

import numpy as np
import pytest

from rig.diagnosis.evidence import Evidence, seen
from rig.diagnosis.model import Model, build
from tests.diagnosis.decisions import Decision, by_advice, in_written_order
from tests.small_tables import bundled_table

UNITS = 24


def drawn(model: Model, seed: int) -> list[tuple[str, dict[str, Evidence]]]:
    """Units with one cause each, as often as the table says, and what each observation shows on them."""
    stream = np.random.default_rng(seed)
    table, start = model.table, model.table.start()
    names = list(table.causes)
    chances = np.array([start[n] for n in names])
    found = []
    for cause in stream.choice(names, UNITS, p=chances / chances.sum()):
        shows = {}
        for name, observed in table.observations.items():
            row = np.array([table.row(name, cause)[0].of(o) for o in observed.outcomes])
            shows[name] = seen(name, observed.outcomes[int(stream.choice(len(row), p=row / row.sum()))])
        found.append((str(cause), shows))
    return found


@pytest.mark.parametrize(("complaint", "least", "most"), [
    ("no-water-level", 0.80, 0.40), ("slow-heat", 0.75, 0.80), ("wet-or-leaking", 0.65, 0.80),
])  # fmt: skip
def test_the_advice_finds_the_remedy_with_less_work(complaint: str, least: float, most: float) -> None:
    model = build(bundled_table(complaint))
    units = drawn(model, 11)
    advised: list[Decision] = [by_advice(model, shows) for _, shows in units]
    written = [in_written_order(model, shows) for _, shows in units]
    right = np.mean([d.remedy == model.table.remedies[c] for d, (c, _) in zip(advised, units, strict=True)])
    assert right >= least
    assert sum(d.minutes for d in advised) <= most * sum(d.minutes for d in written)
    assert sum(d.live for d in advised) <= 0.5 * sum(d.live for d in written)
