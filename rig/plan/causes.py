"""A table of causes as written in YAML: what may be behind a complaint, what tells the causes apart, what cures them.

Chances are parts of one, from 0 to 1. What a row leaves over is the chance of ``normal``. Every number is an
``estimate``, ``simulated`` or ``counted``: the file says which at its top, and a row that differs says so itself.
"""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, field_validator, model_validator

from rig.plan.procedure import ForUnits
from rig.plan.values import AnyQuantity, Name, Strict, Text

Outcome = Literal["normal", "low", "high", "none", "intermittent"]
OUTCOMES: tuple[Outcome, ...] = ("normal", "low", "high", "none", "intermittent")
Mark = Literal["estimate", "simulated", "counted"]
Who = Literal["owner", "technician"]
# What must be so while one looks: the unit's own state, then who drives its parts. Mains is live in the last only.
Safety = Literal["ordinary care", "cold and open", "dead", "bench feeds", "board drives"]
SAFETIES: tuple[Safety, ...] = ("ordinary care", "cold and open", "dead", "bench feeds", "board drives")

Chance = Annotated[float, Field(strict=True, ge=0, le=1)]
Minutes = Annotated[float, Field(strict=True, ge=0, le=24 * 60)]
Names = Annotated[tuple[Name, ...], Field(max_length=40)]


class Row(Strict):
    """How often each abnormal outcome comes; the rest is normal."""

    low: Chance = 0.0
    high: Chance = 0.0
    none: Chance = 0.0
    intermittent: Chance = 0.0
    numbers: Mark | None = None

    @model_validator(mode="after")
    def _parts_of_one(self) -> Row:
        total = self.low + self.high + self.none + self.intermittent
        if total > 1 + 1e-9:
            raise ValueError(f"the chances of one row are parts of one and make at most 1, found {total:g}")
        return self

    def of(self, outcome: Outcome) -> float:
        """The chance of one outcome."""
        if outcome == "normal":
            return max(0.0, 1.0 - self.low - self.high - self.none - self.intermittent)
        return float(getattr(self, outcome))


class Starts(Strict):
    """The chance before anything is known: for an owner's call, and with the unit on the bench."""

    field: Chance
    bench: Chance
    numbers: Mark | None = None

    def at(self, place: str) -> float:
        """``place`` is field or bench."""
        return self.field if place == "field" else self.bench


class RemedyFor(Strict):
    """Another remedy for some units."""

    for_units: ForUnits
    remedy: Name


class Cause(Strict):
    """One physical fault, or one thing wrong at the owner's."""

    title: Text
    start: Starts
    remedy: Name
    belongs_to: Literal["unit", "site"] = "unit"
    for_units: ForUnits = Field(default_factory=dict)
    variants: tuple[RemedyFor, ...] = ()


class Remedy(Strict):
    """What cures a cause: the part, the work, and what to repeat afterwards."""

    title: Text
    who: Who = "technician"
    part: Text | None = None
    minutes: Minutes
    part_in_minutes: Minutes = 0.0  # the price of the part, as minutes of work that cost as much
    opens: Names = ()  # set-ups that the work needs as well
    repeat: Names = ()  # observations that the work may disturb
    caution: Text | None = None


class SetUp(Strict):
    """A run of the unit, or an opened cover, that serves several observations and is paid once."""

    title: Text
    hands_on: Minutes
    waiting: Minutes = 0.0
    cover: Annotated[bool, Field(strict=True)] = False
    caution: Text | None = None


class FromStep(Strict):
    """Where an observation comes from in a run: a step's reading against its limit, or a person's answer."""

    procedure: Name
    step: Name
    none_below: AnyQuantity | None = None  # a reading below this is no reading to speak of: nothing came
    beyond: Outcome = "none"  # the instrument could only say "more than"
    without_reading: Outcome | None = None  # the step failed with nothing to read: what it waited for never began
    read_as: dict[Outcome, Outcome] = Field(default_factory=dict)
    answers: dict[Text, Annotated[tuple[Outcome, ...], Field(min_length=1)]] = Field(default_factory=dict)
    stopped_by: dict[Name, Outcome] = Field(default_factory=dict)  # an interlock ended the step: what that tells


class RowsFor(Strict):
    """Other chances for some units."""

    for_units: ForUnits
    given: dict[Name, Row]


class Observation(Strict):
    """Something that can be seen, asked or measured, and how often it comes out how."""

    title: Text
    question: Text
    tells: dict[Outcome, Text]
    who: Who
    safety: Safety
    hands_on: Minutes
    waiting: Minutes = 0.0
    set_ups: Names = ()
    splits: Text | None = None  # what it tells apart, in a few words
    for_units: ForUnits = Field(default_factory=dict)
    from_: tuple[FromStep, ...] = ()
    healthy: Row = Field(default_factory=Row)  # no cause of the table is there
    otherwise: Row | None = None  # a cause is there that is not named below; as healthy where it is not given
    given: dict[Name, Row]
    variants: tuple[RowsFor, ...] = ()
    numbers: Mark | None = None

    @field_validator("tells")
    @classmethod
    def _normal_is_told(cls, tells: dict[Outcome, str]) -> dict[Outcome, str]:
        if "normal" not in tells or len(tells) < 2:
            raise ValueError("expected what normal looks like, and at least one other outcome")
        return tells

    @property
    def outcomes(self) -> tuple[Outcome, ...]:
        """The outcomes that are told apart, normal first."""
        return tuple(o for o in OUTCOMES if o in self.tells)


class CauseTable(Strict):
    """One table: everything about one complaint."""

    complaint: Name
    title: Text
    revision: Text
    source: Text
    numbers: Mark
    counts_as: Annotated[float, Field(strict=True, gt=0, le=1000)]  # cases that a row of this file weighs
    starts_count_as: Annotated[float, Field(strict=True, gt=0, le=10000)]  # and the starting chances of all causes
    none_of_these: Starts
    two_causes: Starts  # the share of units with two causes at once
    risk_minutes: dict[Safety, Minutes]
    cautions: Annotated[tuple[Text, ...], Field(min_length=1)]
    remedies: Annotated[dict[Name, Remedy], Field(min_length=1)]
    causes: Annotated[dict[Name, Cause], Field(min_length=1)]
    set_ups: dict[Name, SetUp] = Field(default_factory=dict)
    observations: Annotated[dict[Name, Observation], Field(min_length=1)]
