"""The small values that people write in files: quantities, references to the unit profile, limits, names."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from typing import Annotated, Any, Literal

from pydantic import (
    AfterValidator,
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Discriminator,
    Field,
    Tag,
    WithJsonSchema,
    model_validator,
)

from rig.limits import Rule
from rig.quantities import Quantity, convert, parse, unit


class Strict(BaseModel):
    """A model that people write by hand: hyphenated keys, unknown keys refused, nothing changed after reading."""

    model_config = ConfigDict(
        extra="forbid",
        frozen=True,
        alias_generator=lambda name: name.rstrip("_").replace("_", "-"),
        populate_by_name=False,
        arbitrary_types_allowed=True,
    )


def chosen(choose: Callable[[Any], str | None], expected: str) -> Discriminator:
    """Tells the members of a union apart by what was written; ``expected`` is said where nothing fits.

    Each union in a file is told apart this way, its members marked with ``Tag``, so that a fault is about what the
    author meant and not about every form that it could have had.
    """
    return Discriminator(choose, custom_error_type="expected", custom_error_message=expected)


def _quantity(value: Any) -> Quantity:
    if isinstance(value, Quantity):
        return value
    if isinstance(value, bool) or not isinstance(value, (str, int, float)):
        raise ValueError("expected a number with a unit such as '24 V'")
    return parse(str(value))


# What the JSON Schema says of a quantity: it is written as text, or as a bare number.
WRITTEN = WithJsonSchema({"type": ["string", "number"], "description": "a number with a unit", "examples": ["24 V"]})

AnyQuantity = Annotated[Quantity, BeforeValidator(_quantity), WRITTEN]


def of_kind(quantity: str, least: float | None = None, most: float | None = None) -> BeforeValidator:
    """Reads a quantity of one kind; bounds are in its canonical unit."""

    def check(value: Any) -> Quantity:
        found = _quantity(value)
        if unit(found.unit).quantity != quantity:
            raise ValueError(f"expected a {quantity}, found {found}")
        number, code = found.canonical().value, found.canonical().unit
        if least is not None and number < least:
            raise ValueError(f"{found} is less than the {convert(least, code, found.unit):g} {found.unit} allowed")
        if most is not None and number > most:
            raise ValueError(f"{found} is more than the {convert(most, code, found.unit):g} {found.unit} allowed")
        return found

    return BeforeValidator(check)


DAY = 86400.0
Duration = Annotated[Quantity, of_kind("time", least=1e-6, most=DAY), WRITTEN]
Age = Annotated[Quantity, of_kind("time", least=DAY, most=20 * 366 * DAY), WRITTEN]  # such as "365 d"
Temperature = Annotated[Quantity, of_kind("temperature", least=-100, most=1500), WRITTEN]
Share = Annotated[Quantity, of_kind("share", least=0, most=100), WRITTEN]


class ProfileRef(BaseModel):
    """``profile fill.give-up``: a fact of the unit profile, looked up when the plan is put together."""

    model_config = ConfigDict(frozen=True)
    path: str

    def __str__(self) -> str:
        return f"profile {self.path}"


def _duration_or_ref(value: Any) -> Quantity | ProfileRef:
    if isinstance(value, ProfileRef):
        return value
    if isinstance(value, str) and value.split()[:1] == ["profile"]:
        words = value.split()
        if len(words) != 2 or "." not in words[1]:
            raise ValueError("expected 'profile group.name', for example 'profile fill.give-up'")
        return ProfileRef(path=words[1])
    found = _quantity(value)
    if unit(found.unit).quantity != "time":
        raise ValueError(f"expected a time such as '45 s', or 'profile group.name', found {found}")
    if not 0 < found.canonical().value <= DAY:
        raise ValueError(f"expected a time above 0 and up to 24 h, found {found}")
    return found


DurationOrRef = Annotated[
    Quantity | ProfileRef,
    BeforeValidator(_duration_or_ref),
    WithJsonSchema({"type": ["string", "number"], "examples": ["45 s", "profile fill.give-up"]}),
]

UnitCode = Annotated[str, Field(max_length=20), AfterValidator(lambda word: unit(word).code)]
Name = Annotated[str, Field(pattern=r"^[a-z][a-z0-9]*(-[a-z0-9]+)*$", max_length=60)]
FactPath = Annotated[str, Field(pattern=r"^[a-z][a-z0-9]*(-[a-z0-9]+)*\.[a-z][a-z0-9]*(-[a-z0-9]+)*$", max_length=121)]
Text = Annotated[str, Field(min_length=1, max_length=2000)]


def _date(text: str) -> str:
    try:
        return date.fromisoformat(text).isoformat()
    except ValueError as error:
        raise ValueError(f"expected a date such as 2027-06-30, found {text!r}") from error


Date = Annotated[str, Field(max_length=20), AfterValidator(_date)]


class LimitText(Strict):
    """A limit as written: at-least, at-most or both; or nominal with a tolerance (within, or minus and plus)."""

    at_least: AnyQuantity | None = None
    at_most: AnyQuantity | None = None
    nominal: AnyQuantity | None = None
    within: AnyQuantity | None = None
    minus: AnyQuantity | None = None
    plus: AnyQuantity | None = None
    source: Text

    @model_validator(mode="after")
    def _one_form(self) -> LimitText:
        bounds = [b for b in (self.at_least, self.at_most) if b is not None]
        tolerance = [t for t in (self.within, self.minus, self.plus) if t is not None]
        if self.nominal is None:
            if not bounds or tolerance:
                raise ValueError("expected at-least, at-most or both; or nominal with within, or with minus and plus")
            if len({unit(b.unit).quantity for b in bounds}) > 1:
                raise ValueError(f"at-least and at-most differ in kind: {bounds[0]} and {bounds[1]}")
        else:
            paired = self.within is None and self.minus is not None and self.plus is not None
            if bounds or not (paired or (self.within is not None and len(tolerance) == 1)):
                raise ValueError("with nominal, expected either within alone, or both minus and plus")
            if self.nominal.unit == "Cel" and any(t.unit == "%" for t in tolerance):
                raise ValueError("a share of a temperature in Cel means nothing; give the tolerance in K")
            for t in tolerance:
                if t.value < 0:
                    raise ValueError(f"a tolerance is not negative, found {t}")
                if t.unit != "%":
                    convert(t.value, t.unit, _difference(self.nominal.unit))
        low, high = self.ends()
        if low is not None and high is not None and low > high:
            raise ValueError("the lower end of the limit lies above its upper end")
        return self

    @property
    def unit(self) -> str:
        """The unit that the author thinks in."""
        first = self.nominal or self.at_most or self.at_least
        assert first is not None
        return first.unit

    def ends(self) -> tuple[float | None, float | None]:
        """Lower and upper end in the canonical unit."""
        if self.nominal is None:
            low = None if self.at_least is None else self.at_least.canonical().value
            high = None if self.at_most is None else self.at_most.canonical().value
            return low, high
        middle = self.nominal.canonical()
        down, up = (self.within, self.within) if self.within is not None else (self.minus, self.plus)
        assert down is not None
        assert up is not None
        return middle.value - _span(down, middle), middle.value + _span(up, middle)


def _difference(code: str) -> str:
    return "K" if code == "Cel" else code


def _span(tolerance: Quantity, nominal: Quantity) -> float:
    if tolerance.unit == "%":
        return abs(nominal.value) * tolerance.value / 100.0
    return tolerance.to(_difference(nominal.unit))


class DecisionRule(Strict):
    """How readings near their limits are decided (ILAC-G8:09/2019, 4.2): the guard band in U, two verdicts or four, and
    the least test uncertainty ratio, below which a step is warned of or refused."""

    guard_band: Annotated[float, Field(ge=0, le=3)] = 1.0
    verdicts: Literal["two", "four"] = "four"
    least_ratio: Annotated[float, Field(ge=0, le=100)] = 2.0
    below_it: Literal["warn", "refuse"] = "warn"

    def rule(self) -> Rule:
        """The rule that limits carry."""
        return Rule(self.guard_band, 2 if self.verdicts == "two" else 4, self.least_ratio, self.below_it == "refuse")


class LimitRef(Strict):
    """``{profile: fill-time}``: the limit of that name in the unit profile."""

    profile: Name


class PartRef(Strict):
    """``{reference-part: five-volts}``: what the bench file says of the part of that name."""

    reference_part: Name


def _limit(value: Any) -> str | None:
    if isinstance(value, (LimitText, LimitRef, PartRef)):
        return type(value).__name__
    if not isinstance(value, dict):
        return None
    words = {"profile": "LimitRef", "reference-part": "PartRef", "reference_part": "PartRef"}
    return next((kind for word, kind in words.items() if word in value), "LimitText")


AnyLimit = Annotated[
    Annotated[LimitText, Tag("LimitText")] | Annotated[LimitRef, Tag("LimitRef")] | Annotated[PartRef, Tag("PartRef")],
    chosen(
        _limit,
        "expected {at-least: VALUE, at-most: VALUE, source: WHO SAYS SO}, {profile: NAME OF A LIMIT} or "
        "{reference-part: NAME OF ONE OF THE BENCH'S}",
    ),
]

YesNo = Literal["yes", "no"]
