"""The words of a formula: numbers with their units, names, signs; each with the place where it stands."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

from rig.plan.visible import visible
from rig.quantities import UNITS, Quantity, unit, vanishes

_TOKEN = re.compile(
    r"(?P<number>[0-9]+(?:\.[0-9]*)?(?:[eE][+-]?[0-9]+)?|\.[0-9]+(?:[eE][+-]?[0-9]+)?)"
    r"|(?P<name>[a-z][a-z0-9]*(?:-[a-z0-9]+)*(?:\.[a-z][a-z0-9]*(?:-[a-z0-9]+)*)?)"
    r"|(?P<sign>\*\*|[-+*/(),])"
)
# Longest first, so that "kPa/min" is not taken for "kPa"; a unit ends where no letter or digit goes on.
_SPELLINGS = sorted((w for u in UNITS if u.code != "1" for w in (u.code, *u.spellings)), key=len, reverse=True)
_UNIT = re.compile(rf"\s*(?P<unit>{'|'.join(map(re.escape, _SPELLINGS))})(?![\w(]|\s*\()")


class FormulaError(ValueError):
    """A formula that cannot be read, does not fit in its dimensions, or has no value. ``column`` counts from 1."""

    def __init__(self, message: str, column: int) -> None:
        super().__init__(message)
        self.column = column


@dataclass(frozen=True)
class Token:
    kind: str
    text: str
    column: int
    value: Quantity | None = None


def tokens_of(text: str) -> list[Token]:
    tokens: list[Token] = []
    at = 0
    while True:
        at += len(text) - at - len(text[at:].lstrip())
        if at >= len(text):
            return [*tokens, Token("end", "the end", len(text) + 1)]
        match = _TOKEN.match(text, at)
        if match is None:
            raise FormulaError(f"'{visible(text[at])}' has no meaning in a formula", at + 1)
        column, kind, word = at + 1, str(match.lastgroup), match.group()
        at = match.end()
        value = None
        if kind == "number":
            value, at = _number(text, word, at, column)
        tokens.append(Token(kind, word, column, value))


def _number(text: str, word: str, at: int, column: int) -> tuple[Quantity, int]:
    """The number with the unit that may follow it, and where that ends."""
    match = _UNIT.match(text, at)
    value = Quantity(float(word), unit(match.group("unit")).code if match else "1")
    at = match.end() if match else at
    if not math.isfinite(value.si):
        raise FormulaError(f"{visible(word, 20)} is too large", column)
    if vanishes(word, value):
        raise FormulaError(f"{visible(word, 20)} is too small to be told from 0", column)
    rest = re.match(r"\s*([^\W\d_]\S*)", text[at:])
    if rest:
        raise FormulaError(f"'{visible(rest.group(1), 20)}' is not a unit", at + rest.start(1) + 1)
    return value, at
