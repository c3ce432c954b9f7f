"""A judged step found again from its record alone: the budget added up, the rule applied, nothing asked of a bench.

The record is one entry of the ``steps`` of a run's JSON, as :func:`rig.events.step_dict` writes it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from rig.distributions import coverage_factor
from rig.limits import Limit, Rule, Verdict, judge
from rig.uncertainty import Line, total


@dataclass(frozen=True)
class Recomputed:
    """What a record gives: combined and expanded uncertainty, k, degrees of freedom; and, where there is a limit and a
    plain value, the verdict, the conformance probability and the test uncertainty ratio."""

    u: float
    dof: float | None
    k: float
    expanded: float
    verdict: Verdict | None
    conformance_probability: float | None
    ratio: float | None


def recompute(step: Mapping[str, Any]) -> Recomputed | None:
    """The numbers of a step's record, None for a step without a reading that has a budget. Raises ValueError for a
    record that is not whole."""
    reading, limit = step.get("reading"), step.get("limit")
    if not reading or not reading.get("budget"):
        return None
    try:
        u, dof = total([Line(**each) for each in reading["budget"]])
        k = coverage_factor(dof)
        if not limit or reading["bound"] is not None or limit["unit"] != reading["unit"]:
            return Recomputed(u, dof, k, k * u, None, None, None)
        ends = (limit["at_least"], limit["at_most"])
        against = Limit(*ends, limit["unit"], limit["source"], rule=Rule(**limit["rule"]))
        found = judge(reading["value"], u, against, dof)
    except (TypeError, KeyError) as error:
        raise ValueError(f"the record of {step.get('name')} is not whole: {error}") from error
    return Recomputed(u, dof, k, k * u, found.verdict, found.conformance_probability, against.ratio(k * u))
