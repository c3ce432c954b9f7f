"""A unit profile: nameplate and service facts of a type of unit, and its limits."""

from __future__ import annotations

from typing import Annotated, Any

from pydantic import BeforeValidator, WithJsonSchema

from rig.plan.values import Date, DecisionRule, LimitText, Name, Strict, Text
from rig.quantities import Quantity, parse


def _fact(value: Any) -> Quantity | str:
    if isinstance(value, bool) or not isinstance(value, (str, int, float)):
        raise ValueError("expected a number with a unit, or a few words")
    text = str(value)
    if text[:1].isdigit() or text[:1] in "+-.":
        return parse(text)
    return text


Fact = Annotated[
    Quantity | str,
    BeforeValidator(_fact),
    WithJsonSchema({"type": ["string", "number"], "examples": ["230 V", "one shared port"]}),
]


class Approval(Strict):
    """Who has approved one revision of a profile, and when."""

    revision: Text
    by: Text
    on: Date


class ApprovedStandard(Strict):
    """A standard that was looked up for this unit: its limits may judge."""

    standard: Text
    edition: Text
    by: Text
    on: Date


class UnitProfile(Strict):
    """One profile file. Only an approved revision judges."""

    unit_profile: Name
    title: Text
    revision: Text
    source: Text
    facts: dict[Name, dict[Name, Fact]]
    limits: dict[Name, LimitText]
    conditional_pass: tuple[Name, ...] = ()  # steps that may be released within less than their uncertainty of a limit
    decision_rule: DecisionRule | None = None  # of the limits here
    approved: Approval | None = None
    approved_standards: tuple[ApprovedStandard, ...] = ()

    def unapproved(self) -> str:
        """Why this revision may not judge; empty where it may."""
        if self.approved is None:
            return f"profile {self.unit_profile} is not approved"
        if self.approved.revision != self.revision:
            return f"profile {self.unit_profile} is approved in revision {self.approved.revision}, not {self.revision}"
        return ""

    def fact(self, path: str) -> Quantity | str:
        """The fact at ``group.name``. Raises KeyError."""
        group, _, name = path.partition(".")
        return self.facts[group][name]
