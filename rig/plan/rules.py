"""A shop's rules: what a release stands on, what is never conceded, what a repair makes one measure again."""

from __future__ import annotations

from calendar import monthrange
from datetime import date
from typing import Annotated

from pydantic import Field

from rig.plan.values import Duration, Name, Strict, Text


class SelfCheck(Strict):
    """The bench's check of itself, and how old it may be when a release's run begins."""

    procedure: Name
    no_older_than: Duration


class NeverConceded(Strict):
    """Steps, and all steps of procedures, that stand between a unit and harm."""

    steps: Annotated[tuple[Name, ...], Field(min_length=1)]
    procedures: Annotated[tuple[Name, ...], Field(min_length=1)]


class Retest(Strict):
    """What must pass again after this part was worked on: steps, wherever they are run, and whole procedures."""

    part: Text
    steps: tuple[Name, ...] = ()
    procedures: tuple[Name, ...] = ()
    because: Text


class NextCheck(Strict):
    """When a unit that is released now is to be looked at again, unless a local code asks for it sooner."""

    months: Annotated[int, Field(ge=1, le=120)]
    because: Text

    def due(self, released: date) -> date:
        """The day so many months later; the last of its month where that month is too short."""
        years, month = divmod(released.month - 1 + self.months, 12)
        year = released.year + years
        return date(year, month + 1, min(released.day, monthrange(year, month + 1)[1]))


class ShopRules(Strict):
    """One file of rules."""

    shop_rules: Name
    title: Text
    revision: Text
    source: Text
    release_needs: Annotated[tuple[Name, ...], Field(min_length=1)]
    self_check: SelfCheck
    never_conceded: NeverConceded
    complaints: dict[Name, Text]
    look_at: dict[Name, Text]  # what is looked at by eye at receiving
    retest: dict[Name, Retest]
    next_check: NextCheck | None = None
    care: tuple[Text, ...]  # for the owner, printed on the certificate
    cautions: tuple[Text, ...]
