"""After a repair: what must be looked at again before anything is believed, and whether the complaint is gone."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from rig.diagnosis.evidence import Evidence
from rig.diagnosis.from_jobs import abnormal_before, seen_after
from rig.diagnosis.unit_table import UnitTable


@dataclass(frozen=True)
class AfterRepair:
    """``failed`` was out of order before; ``again`` is still to be looked at, the failing observations first.

    ``gone`` says that nothing is out of order among what was looked at again, and that something that failed before
    is among it; ``still`` that something is out of order yet.
    """

    failed: tuple[str, ...]
    again: tuple[str, ...]
    gone: bool
    still: bool


def after_repair(table: UnitTable, found: Iterable[Evidence], cured: Iterable[str]) -> AfterRepair:
    """The state after the repairs of ``cured``, the latest last."""
    causes = tuple(cured)
    evidence = tuple(found)
    failed = abnormal_before(evidence)
    now = seen_after(evidence, frozenset(causes))
    disturbed = [
        name
        for cause in causes
        if cause in table.remedies
        for name in table.table.remedies[table.remedies[cause]].repeat
        if name in table.observations
    ]
    again = tuple(n for n in dict.fromkeys([*failed, *disturbed]) if n not in now)
    looked = [e for name, e in now.items() if name in failed or name in disturbed]
    still = any(e.outcome != "normal" for e in looked)
    return AfterRepair(tuple(failed), again, any(n in now for n in failed) and not still, still)
