"""Small arithmetic with units, for ``compute:`` steps: parsed by hand, never evaluated as a program.

    sum     := product (("+" | "-") product)*
    product := signed (("*" | "/") signed)*
    signed  := "-" signed | power
    power   := atom ("**" ["-"] WHOLE)?
    atom    := NUMBER [UNIT] | NAME | GROUP.FACT | FUNCTION "(" sum ("," sum)* ")" | "(" sum ")"

Names are in kebab-case, so a minus between two names needs a space on both sides. All values are in SI base units;
a point on the Celsius scale counts in kelvin.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from itertools import pairwise

from rig.plan.corrections import CORRECTIONS
from rig.plan.dimensions import combined, shown
from rig.plan.formula_words import FormulaError, Token, tokens_of
from rig.plan.visible import visible
from rig.quantities import NONE, Dimension, Quantity, unit

MAX_LENGTH = 300
MAX_DEPTH = 20
MAX_EXPONENT = 6

# Water at 20 Cel and 101.325 kPa: 998.207 kg/m3 by the CIPM's formula (Tanaka et al., Metrologia 38 (2001) 301-309),
# rounded; air in the water and 5 K either way change it by 0.1 %.
CONSTANTS: dict[str, Quantity] = {"water.density": Quantity(998.2, "kg/m3")}


@dataclass(frozen=True)
class _Number:
    value: float  # SI
    dimension: Dimension
    column: int


@dataclass(frozen=True)
class _Name:
    name: str
    column: int


@dataclass(frozen=True)
class _Call:
    """A function or an operator; operators are functions that are written between their arguments."""

    function: str
    arguments: tuple[_Part, ...]
    column: int
    exponent: int = 0


_Part = _Number | _Name | _Call


@dataclass(frozen=True)
class Corrected:
    """A correction that a formula made: its name, the first value it took and the one it gave, both in SI."""

    name: str
    before: float
    after: float


@dataclass(frozen=True)
class Formula:
    """A formula that was read; ``names`` are the steps and profile facts that it needs, in order of appearance."""

    text: str
    names: tuple[str, ...]
    _root: _Part

    def dimension(self, dimensions: Mapping[str, Dimension]) -> Dimension:
        """Its dimension, given those of its names. Raises FormulaError where they do not fit."""
        return _dimension(self._root, dimensions)

    def si(self, values_si: Mapping[str, float]) -> float:
        """Its value in SI base units, given those of its names. Raises FormulaError where there is none."""
        return _value(self._root, values_si)

    def check(self, known_si: Mapping[str, float]) -> None:
        """Work out whatever needs no more than these values. Raises FormulaError where that has none, and for a
        division by what is nothing."""
        _check(self._root, known_si)

    def corrections(self, values_si: Mapping[str, float]) -> list[Corrected]:
        """What it corrects on the way, innermost first, given the values of its names. Raises FormulaError."""
        return list(_corrections(self._root, values_si))

    def calls(self, function: str) -> bool:
        """Whether it has this function anywhere."""
        return function in _functions(self._root)

    def column(self, name: str) -> int:
        """Where a name first stands, from 1."""
        return next(c for n, c in _names(self._root) if n == name)


def parse(text: str) -> Formula:
    """Read a formula. Raises FormulaError, also where its numbers alone have no value."""
    if len(text) > MAX_LENGTH:
        raise FormulaError(f"a formula of more than {MAX_LENGTH} characters", MAX_LENGTH)
    reader = _Reader(tokens_of(text))
    root = reader.sum(0)
    reader.end()
    _check(root, {})
    names = dict.fromkeys(name for name, _ in _names(root) if name not in CONSTANTS)
    return Formula(text, tuple(names), root)


def split_hint(name: str, known: Mapping[str, object] | set[str]) -> str:
    """Where an unknown name would make known ones if a minus stood in it: what to write instead, else nothing."""
    words = name.split("-")
    for cut in range(1, len(words)):
        left, right = "-".join(words[:cut]), "-".join(words[cut:])
        if left in known and (right in known or right.isdigit()):
            return f"; if a minus is meant, put spaces round it: '{left} - {right}'"
    return ""


def _names(part: _Part) -> list[tuple[str, int]]:
    if isinstance(part, _Name):
        return [(part.name, part.column)]
    if isinstance(part, _Call):
        return [found for argument in part.arguments for found in _names(argument)]
    return []


class _Reader:
    """Recursive descent; ``depth`` is capped, so that no text can exhaust the stack."""

    def __init__(self, tokens: list[Token]) -> None:
        self._tokens = tokens
        self._at = 0

    @property
    def _next(self) -> Token:
        return self._tokens[self._at]

    def _take(self) -> Token:
        token = self._next
        self._at += 1
        return token

    def _takes(self, *signs: str) -> Token | None:
        return self._take() if self._next.kind == "sign" and self._next.text in signs else None

    def _expect(self, sign: str) -> None:
        if self._takes(sign) is None:
            raise FormulaError(f"expected '{sign}', found {self._shown()}", self._next.column)

    def _shown(self) -> str:
        return self._next.text if self._next.kind == "end" else f"'{self._next.text}'"

    def end(self) -> None:
        if self._next.kind != "end":
            raise FormulaError(f"expected an operator such as * or /, found {self._shown()}", self._next.column)

    def sum(self, depth: int) -> _Part:
        if depth > MAX_DEPTH:
            raise FormulaError(f"brackets and signs nested more than {MAX_DEPTH} deep", self._next.column)
        left = self._product(depth)
        while sign := self._takes("+", "-"):
            left = _Call(sign.text, (left, self._product(depth)), sign.column)
        return left

    def _product(self, depth: int) -> _Part:
        left = self._signed(depth)
        while sign := self._takes("*", "/"):
            left = _Call(sign.text, (left, self._signed(depth)), sign.column)
        return left

    def _signed(self, depth: int) -> _Part:
        sign = self._takes("-")
        if sign is None:
            return self._power(depth)
        if depth > MAX_DEPTH:
            raise FormulaError(f"brackets and signs nested more than {MAX_DEPTH} deep", sign.column)
        return _Call("negative", (self._signed(depth + 1),), sign.column)

    def _power(self, depth: int) -> _Part:
        base = self._atom(depth)
        sign = self._takes("**")
        if sign is None:
            return base
        minus = self._takes("-")
        token = self._take()
        if token.kind != "number" or not token.text.isdigit() or token.value is None or token.value.unit != "1":
            raise FormulaError("expected a whole number without a unit after **", token.column)
        if int(token.text) > MAX_EXPONENT:
            raise FormulaError(f"an exponent of more than {MAX_EXPONENT}", token.column)
        exponent = -int(token.text) if minus else int(token.text)
        return _Call("**", (base,), sign.column, exponent)

    def _atom(self, depth: int) -> _Part:
        token = self._next
        if token.kind == "number" and token.value is not None:
            self._take()
            return _Number(token.value.si, unit(token.value.unit).dimension, token.column)
        if token.kind == "name":
            self._take()
            return self._call(token, depth) if self._takes("(") else _name(token)
        if self._takes("("):
            inside = self.sum(depth + 1)
            self._expect(")")
            return inside
        raise FormulaError(f"expected a number, a name or '(', found {self._shown()}", token.column)

    def _call(self, name: Token, depth: int) -> _Part:
        if name.text not in FUNCTIONS:
            raise FormulaError(
                f"no function is called '{visible(name.text, 40)}'; known: {', '.join(FUNCTIONS)}", name.column
            )
        arguments = [self.sum(depth + 1)]
        while self._takes(","):
            arguments.append(self.sum(depth + 1))
        self._expect(")")
        least, most = FUNCTIONS[name.text]
        if not least <= len(arguments) <= most:
            wanted = str(least) if least == most else f"{least} to {most}"
            raise FormulaError(f"{name.text} takes {wanted} values, found {len(arguments)}", name.column)
        return _Call(name.text, tuple(arguments), name.column)


def _name(token: Token) -> _Part:
    constant = CONSTANTS.get(token.text)
    if constant is not None:
        return _Number(constant.si, unit(constant.unit).dimension, token.column)
    return _Name(token.text, token.column)


# What may be called, with the least and the largest number of values.
FUNCTIONS: dict[str, tuple[int, int]] = {
    "sqrt": (1, 1),
    "abs": (1, 1),
    "min": (2, 8),
    "max": (2, 8),
    **{name: (len(each.takes), len(each.takes)) for name, each in CORRECTIONS.items()},
}


def _dimension(part: _Part, known: Mapping[str, Dimension]) -> Dimension:
    if isinstance(part, _Number):
        return part.dimension
    if isinstance(part, _Name):
        if part.name not in known:
            raise FormulaError(f"unknown name '{part.name}'{split_hint(part.name, known)}", part.column)
        return known[part.name]
    dims = [_dimension(argument, known) for argument in part.arguments]
    match part.function:
        case "*":
            return combined(dims[0], dims[1], 1)
        case "/":
            return combined(dims[0], dims[1], -1)
        case "**":
            return combined(NONE, dims[0], part.exponent)
        case "sqrt":
            if any(exponent % 2 for exponent in dims[0]):
                raise FormulaError(f"no square root of {shown(dims[0])}", part.column)
            kg, m, s, a, k = (exponent // 2 for exponent in dims[0])
            return (kg, m, s, a, k)
        case name if name in CORRECTIONS:
            return _corrected_dimension(name, dims, part.column)
        case _:  # + - negative abs min max
            for first, other in pairwise(dims):
                if first != other:
                    message = f"{shown(first)} and {shown(other)} do not go together in '{part.function}'"
                    raise FormulaError(message, part.column)
            return dims[0]


def _corrected_dimension(name: str, dims: list[Dimension], column: int) -> Dimension:
    takes, gives = CORRECTIONS[name].dimensions()
    wanted = [dims[0] if dimension is None else dimension for dimension in takes]
    if dims != wanted:
        expected, found = (" and ".join(shown(d) for d in each) for each in (wanted, dims))
        raise FormulaError(f"{name} takes {expected}, found {found}", column)
    return dims[0] if gives is None else gives


def _functions(part: _Part) -> set[str]:
    return {part.function}.union(*map(_functions, part.arguments)) if isinstance(part, _Call) else set()


def _corrections(part: _Part, known: Mapping[str, float]) -> Iterator[Corrected]:
    if isinstance(part, _Call):
        for argument in part.arguments:
            yield from _corrections(argument, known)
        if part.function in CORRECTIONS:
            yield Corrected(part.function, _value(part.arguments[0], known), _value(part, known))


_PLAIN: dict[str, Callable[..., float]] = {"abs": abs, "min": min, "max": max}


def _value(part: _Part, known: Mapping[str, float]) -> float:
    if isinstance(part, _Number):
        return part.value
    if isinstance(part, _Name):
        if part.name not in known:
            raise FormulaError(f"there is no value of '{part.name}'", part.column)
        return known[part.name]
    values = [_value(argument, known) for argument in part.arguments]
    try:
        result = _apply(part, values)
    except ZeroDivisionError as error:
        raise FormulaError("division by zero", part.column) from error
    except OverflowError as error:
        raise FormulaError("the result is too large", part.column) from error
    if not math.isfinite(result):
        raise FormulaError("the result is not a finite number", part.column)
    return result


def _check(part: _Part, known: Mapping[str, float]) -> bool:
    """Whether a part is known, and if so, has a value."""
    if not isinstance(part, _Call):
        return isinstance(part, _Number) or part.name in known
    fixed = [_check(argument, known) for argument in part.arguments]
    if all(fixed):
        _value(part, known)
    elif part.function == "/" and fixed[1] and _value(part.arguments[1], known) == 0:
        raise FormulaError("division by zero", part.column)
    return all(fixed)


def _apply(part: _Call, values: list[float]) -> float:
    match part.function:
        case "+":
            return values[0] + values[1]
        case "-":
            return values[0] - values[1]
        case "*":
            return values[0] * values[1]
        case "/":
            return values[0] / values[1]
        case "**":
            return float(values[0] ** part.exponent)
        case "negative":
            return -values[0]
        case "sqrt":
            if values[0] < 0:
                raise FormulaError("no square root of a negative value", part.column)
            return math.sqrt(values[0])
        case name if name in CORRECTIONS:
            try:
                return CORRECTIONS[name].value(*values)
            except ValueError as error:
                raise FormulaError(str(error), part.column) from error
        case name:
            return float(_PLAIN[name](*values))
