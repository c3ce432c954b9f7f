"""Limits as written, made into limits that judge: canonical units, and the rule by which they decide."""

from __future__ import annotations

from rig.judgement.standards import withheld
from rig.limits import GUARDED, Limit, Rule
from rig.plan.procedure import Procedure
from rig.plan.profile import UnitProfile
from rig.plan.values import AnyLimit, LimitRef, LimitText, PartRef
from rig.plan.wiring import Bench
from rig.quantities import canonical


def rule_of(*files: Procedure | UnitProfile) -> Rule:
    """The decision rule of the first of these that has one, else the guard band of U with four verdicts."""
    written = (each.decision_rule for each in files if each.decision_rule is not None)
    return next((each.rule() for each in written), GUARDED)


def looked_up(limit: AnyLimit | None, profile: UnitProfile | None, bench: Bench) -> LimitText | None:
    """The limit that stands there, or where the procedure points to; None where there is none."""
    if isinstance(limit, LimitRef):
        return None if profile is None else profile.limits.get(limit.profile)
    return bench.reference_parts.get(limit.reference_part) if isinstance(limit, PartRef) else limit


def limit_of(written: LimitText, source: str, rule: Rule = GUARDED, why_not: str = "") -> Limit:
    """A limit as written, in canonical units; ``why_not`` says why it may not judge."""
    low, high = written.ends()
    return Limit(low, high, canonical(written.unit), source, shown_in=written.unit, rule=rule, withheld=why_not)


def why_not(source: str, profile: UnitProfile | None, of_profile: bool) -> str:
    """Why a limit with this source may not judge, empty where it may: only an approved profile's do, and none that
    cites a standard from memory which the profile does not approve."""
    unapproved = profile.unapproved() if profile is not None and of_profile else ""
    approved = () if profile is None else tuple((s.standard, s.edition) for s in profile.approved_standards)
    return unapproved or withheld(source, approved)
