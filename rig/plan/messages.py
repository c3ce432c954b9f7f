"""What the models object to, in plain sentences: what is wrong, what was expected, the nearest valid word."""

from __future__ import annotations

import difflib
import re
import types
import typing
from collections.abc import Iterable
from collections.abc import Sequence as Several
from typing import Annotated, Any, get_args, get_origin

from pydantic import Tag
from pydantic_core.core_schema import ErrorType

from rig.plan.source import Mapping, Node, Scalar, Sequence
from rig.plan.values import Strict
from rig.plan.visible import visible

_PYDANTICS_OWN = frozenset(get_args(ErrorType))
NOT_UNDERSTOOD = "this is not understood here"  # what no test has ever seen said


def closest(word: str, known: Iterable[str], likeness: float = 0.5) -> str | None:
    """The known word that was perhaps meant; ``likeness`` from 0 to 1 is asked of it at least."""
    near = difflib.get_close_matches(word[:100], list(known), n=1, cutoff=likeness)
    return near[0] if near else None


def nearest(word: str, known: Iterable[str], likeness: float = 0.5) -> str:
    """``"; nearest is 'x'"``, or nothing where nothing is near."""
    near = closest(word, known, likeness)
    return f"; nearest is '{near}'" if near else ""


def meant(loc: Several[str | int], model: type[Strict]) -> str | None:
    """The key that an unknown key, the last of ``loc``, was perhaps meant to be."""
    return closest(str(loc[-1]), _keys(_at(model, loc[:-1])))


def written(loc: Several[str | int], model: type[Strict]) -> tuple[str | int, ...]:
    """The path as the author's keys have it: without the marks of the unions that pydantic's path goes through."""
    path: list[str | int] = []
    here: Any = model
    for part in loc:
        here, is_mark = _step(here, part)
        if not is_mark:
            path.append(part)
    return tuple(path)


def listed(words: Iterable[str], most: int = 16) -> str:
    """A few words as a list; cut off where there are many."""
    all_words = list(words)
    return ", ".join(all_words[:most]) + (", …" if len(all_words) > most else "")


def found(node: Node | None) -> str:
    """What stands there, short enough for a message."""
    if isinstance(node, Mapping):
        return "a mapping (key: value)"
    if isinstance(node, Sequence):
        return "a list"
    if node is None or node.value is None:
        return "nothing"
    return f"'{visible(node.text, 40)}'" if isinstance(node.value, str) else visible(node.text, 40)


def sentence(
    kind: str, context: dict[str, Any], said: str, loc: Several[str | int], model: type[Strict], node: Node
) -> str:
    """The sentence for one error of pydantic: its type, context, own message and path, and what stands there."""
    if kind == "missing":
        return f"the key '{loc[-1]}' is missing"
    if kind == "extra_forbidden":
        key, known = str(loc[-1]), _keys(_at(model, loc[:-1]))
        return f"unknown key '{visible(key, 40)}'{nearest(key, known)}; expected {listed(known, 30)}"
    if kind == "value_error":
        message = visible(context["error"], 600)
        told = "found" in message or isinstance(node, Mapping) or found(node).strip("'") in message
        return message if told else f"{message}, found {found(node)}"
    if kind not in _PYDANTICS_OWN:  # the words of our own unions, see values.chosen
        return f"{said}; found {_keys_of(node, said)}"
    if kind == "literal_error":
        words = re.findall(r"'([^']*)'", context["expected"])
        word = node.text if isinstance(node, Scalar) else ""
        return (
            f"expected {'one of ' if len(words) > 1 else ''}{listed(words)}; found {found(node)}{nearest(word, words)}"
        )
    if kind == "string_pattern_mismatch":
        if "\\." in context["pattern"]:
            return f"expected a fact of the unit profile as group.name, such as fill.valve; found {found(node)}"
        return f"expected a name of small letters, digits and single hyphens, such as fill-time; found {found(node)}"
    return _shape(kind, context, node)


def _keys_of(node: Node, said: str) -> str:
    """What stands there instead of one of the forms that are expected; a misspelt key is pointed out."""
    if not isinstance(node, Mapping) or not node.entries:
        return found(node)
    words = {*re.findall(r"[a-z][a-z-]+", said)}
    hints = [nearest(e.key, words, 0.75) for e in node.entries if e.key not in words]
    keys = listed((visible(e.key, 40) for e in node.entries), 8)
    return f"the keys {keys}{next((h for h in hints if h), '')}"


def _shape(kind: str, context: dict[str, Any], node: Node) -> str:
    here = found(node)
    if kind == "string_type":
        quotes = "; put it in quotes" if isinstance(node, Scalar) else ""
        return f"expected text, found {here}{quotes}"
    if kind == "string_too_short":
        return "expected some text, found none"
    if kind == "string_too_long":
        return f"the text is longer than {context['max_length']} characters"
    if kind == "too_short":
        return f"expected at least {context['min_length']} in this list, found {context['actual_length']}"
    if kind == "too_long":
        length = len(node.items) if isinstance(node, Sequence) else "more"
        return f"expected at most {context['max_length']} in this list, found {length}"
    if kind in _BOUNDS:
        return f"expected a number {_BOUNDS[kind]} {next(iter(context.values())):g}, found {here}"
    return f"expected {_SHAPES[kind]}, found {here}" if kind in _SHAPES else NOT_UNDERSTOOD


_BOUNDS = {
    "greater_than": "above",
    "greater_than_equal": "not less than",
    "less_than": "below",
    "less_than_equal": "not more than",
}
_SHAPES = {
    "int_type": "a whole number",
    "int_from_float": "a whole number",
    "int_parsing": "a whole number",
    "int_parsing_size": "a whole number",
    "float_parsing": "a number",
    "bool_parsing": "true or false",
    "finite_number": "a number",
    "float_type": "a number",
    "bool_type": "true or false",
    "tuple_type": "a list such as [a, b]",
    "dict_type": "a mapping such as {name: value}",
    "model_type": "a mapping (key: value)",
}


def _at(model: Any, loc: Several[str | int]) -> Any:
    """The type that stands at a path of pydantic's, marks included; None where the path leads nowhere."""
    here = model
    for part in loc:
        here, _ = _step(here, part)
    return here


def _step(here: Any, part: str | int) -> tuple[Any, bool]:
    """One part further down from a type, and whether the part was the mark of a union's member."""
    origin, within = get_origin(here), get_args(here)
    if origin is Annotated:
        return _step(within[0], part)
    if origin in (typing.Union, types.UnionType):
        members = [m for m in within if m is not type(None)]
        marked = [m for m in members if isinstance(part, str) and _is_marked(m, part)]
        if marked:
            return marked[0], True
        return _step(members[0], part) if len(members) == 1 else (None, False)
    if origin in (tuple, list):
        return within[0], False
    if origin is dict:
        return within[1], False
    if isinstance(here, type) and issubclass(here, Strict):
        return next((f.annotation for f in here.model_fields.values() if f.alias == part), None), False
    return None, False


def _is_marked(member: Any, part: str) -> bool:
    return Tag(part) in get_args(member) or (isinstance(member, type) and member.__name__ == part)


def _keys(here: Any) -> list[str]:
    """The keys that a mapping of that type takes."""
    while get_origin(here) is Annotated or get_origin(here) in (typing.Union, types.UnionType):
        here = get_args(here)[0]
    if isinstance(here, type) and issubclass(here, Strict):
        return [f.alias for f in here.model_fields.values() if f.alias]
    return []
