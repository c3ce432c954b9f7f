"""Limits as written, made into limits that judge: canonical units, and the rule by which they decide."""

from __future__ import annotations

from rig.limits import GUARDED, Limit, Rule
from rig.plan.procedure import Procedure
from rig.plan.profile import UnitProfile
from rig.plan.values import LimitText
from rig.quantities import canonical


def rule_of(*files: Procedure | UnitProfile) -> Rule:
    """The decision rule of the first of these that has one, else the guard band of U with four verdicts."""
    written = (each.decision_rule for each in files if each.decision_rule is not None)
    return next((each.rule() for each in written), GUARDED)


def limit_of(written: LimitText, source: str, rule: Rule = GUARDED) -> Limit:
    """A limit as written, in canonical units."""
    low, high = written.ends()
    return Limit(low, high, canonical(written.unit), source, shown_in=written.unit, rule=rule)
