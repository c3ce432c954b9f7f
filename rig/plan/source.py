"""A YAML file, read into a tree that knows where everything stood.

Plain words mean what YAML 1.2's core schema says (yaml.org/spec/1.2.2, 10.3.2): only ``true`` and ``false`` are
booleans, so ``on``, ``off``, ``yes`` and ``no`` stay words; ``010`` is ten; ``1:30`` and dates stay text. What
could make a file mean something else than it seems to say is refused: duplicate keys, anchors, aliases, merge
keys, tags, further documents, hidden characters.
"""

from __future__ import annotations

import math
import os
import re
import stat
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import yaml

from rig.errors import Fault, InputError
from rig.plan.visible import visible

__all__ = ["MAX_BYTES", "MAX_DEPTH", "MAX_FAULTS", "MAX_NODES", "Entry", "Mapping", "Node", "Scalar", "Sequence"]
__all__ += ["plain", "read", "read_bytes", "visible"]

MAX_BYTES = 1024 * 1024  # a procedure of a thousand steps is a fifth of this
MAX_DEPTH = 24  # our own files need nine
MAX_NODES = 50_000
TOO_DEEP = f"lists and mappings are nested more than {MAX_DEPTH} deep"
LONGEST_KEY = 1024  # characters, YAML 1.2.2, 7.4.2: of a key that is not marked by '?'
MAX_DIGITS = 18  # what fits 64 bits in every program that may read our JSON
MAX_FAULTS = 100  # more than a person will read

Value = str | int | float | bool | None

_NULL = re.compile(r"null|Null|NULL|~|")
_TRUE, _FALSE = frozenset({"true", "True", "TRUE"}), frozenset({"false", "False", "FALSE"})
_INTEGER = re.compile(r"[-+]?[0-9]+")
_BASED = re.compile(r"0o[0-7]+|0x[0-9a-fA-F]+")
_FLOAT = re.compile(r"[-+]?(?:\.[0-9]+|[0-9]+(?:\.[0-9]*)?)(?:[eE][-+]?[0-9]+)?")
_NOT_FINITE = re.compile(r"[-+]?\.(?:inf|Inf|INF)|\.(?:nan|NaN|NAN)")
_BREAK = re.compile(r"\r\n|\r|\n")
# Control characters but tab and line ends; marks that turn or hide text; line separators; a BOM inside; non-characters.
_FORBIDDEN = re.compile(
    "[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\u061c\u200e\u200f\u2028-\u202e\u2066-\u2069\ufeff\ufffe\uffff]"
)


@dataclass(frozen=True)
class Scalar:
    """One value: what it means, and how it was written."""

    value: Value
    text: str
    line: int
    column: int


@dataclass(frozen=True)
class Entry:
    """One key of a mapping, with the key's own place, and its value."""

    key: str
    line: int
    column: int
    value: Node


@dataclass(frozen=True)
class Sequence:
    """A list."""

    items: tuple[Node, ...]
    line: int
    column: int


@dataclass(frozen=True)
class Mapping:
    """Keys and values in the order of the file."""

    entries: tuple[Entry, ...]
    line: int
    column: int

    def entry(self, key: str) -> Entry | None:
        """The entry of that key."""
        return next((e for e in self.entries if e.key == key), None)


Node = Scalar | Sequence | Mapping


def plain(node: Node) -> Any:
    """The tree as dicts, lists and scalars; no deeper than ``MAX_DEPTH``, so recursion is safe."""
    if isinstance(node, Mapping):
        return {e.key: plain(e.value) for e in node.entries}
    if isinstance(node, Sequence):
        return [plain(item) for item in node.items]
    return node.value


def read(path: str | os.PathLike[str]) -> Node:
    """The tree of one file. Raises InputError with a fault for everything that is wrong."""
    name = visible(path, 1000)
    try:
        # Looked at before it is opened: opening a pipe would wait for ever.
        if not stat.S_ISREG(os.stat(path).st_mode):
            raise _refused(name, 0, 0, "is not a plain file")
        with Path(path).open("rb") as file:
            data = file.read(MAX_BYTES + 1)
    except ValueError as error:
        raise _refused(name, 0, 0, "a path cannot hold a NUL character or characters that are not text") from error
    except FileNotFoundError as error:
        raise _refused(name, 0, 0, "no such file") from error
    except OSError as error:
        raise _refused(name, 0, 0, f"cannot be read: {visible(error.strerror or error)}") from error
    return read_bytes(data, name)


def read_bytes(data: bytes, name: str) -> Node:
    """The tree of a file's content; ``name`` is what messages call it. Raises InputError."""
    if len(data) > MAX_BYTES:
        raise _refused(name, 1, 1, f"the file is larger than {MAX_BYTES // 1024} KiB")
    text = _decode(data, name)
    faults = [
        Fault(name, *_place(text, found.start()), f"the character {visible(found.group())} does not print; remove it")
        for found in _FORBIDDEN.finditer(text)
    ]
    if faults:
        raise _all_of(name, faults)
    builder = _Builder(name, _BREAK.split(text))
    try:
        for event in yaml.parse(text, Loader=_LOADER):
            builder.take(event)
    except _Enough:
        pass  # the builder has noted why
    except yaml.MarkedYAMLError as error:
        mark = error.problem_mark or error.context_mark
        builder.fault(mark, _syntax(error, text))
    except (yaml.YAMLError, ValueError, ArithmeticError, RecursionError) as error:
        builder.fault(None, f"cannot be read as YAML: {visible(error)}")
    if builder.root is None and not builder.faults:
        builder.fault(None, "the file is empty")
    if builder.faults or builder.root is None:
        raise _all_of(name, builder.faults)
    return builder.root


_LOADER: Any = getattr(yaml, "CSafeLoader", yaml.SafeLoader)  # seven times faster where the C library is there


def _refused(name: str, line: int, column: int, message: str) -> InputError:
    return _all_of(name, [Fault(name, line, column, message)])


def _all_of(name: str, faults: list[Fault]) -> InputError:
    found = sorted(set(faults))
    if len(found) > MAX_FAULTS:
        last = found[MAX_FAULTS - 1]
        more = f"and {len(found) - MAX_FAULTS} faults more, not shown"
        found = [*found[:MAX_FAULTS], Fault(last.file, last.line, last.column, more)]
    return InputError(f"{name} cannot be used as it stands", "Correct the file and try again.", faults=tuple(found))


def _place(text: str, offset: int) -> tuple[int, int]:
    """Line and column, from 1, of a character."""
    line, start = 1, 0
    for found in _BREAK.finditer(text, 0, offset):
        line, start = line + 1, found.end()
    return line, offset - start + 1


def _decode(data: bytes, name: str) -> str:
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        # with a BOM, the codec counts from behind it
        data = data.removeprefix(b"\xef\xbb\xbf")
        before = data[: error.start].decode("utf-8", "replace")
        message = f"byte 0x{data[error.start]:02x} is not UTF-8; save the file as UTF-8"
        raise _refused(name, *_place(before, len(before)), message) from error


def _syntax(error: yaml.MarkedYAMLError, text: str) -> str:
    """The library's complaint in words that help."""
    problem = error.problem or error.context or "unreadable"
    mark = error.problem_mark
    lines = _BREAK.split(text)
    line = lines[mark.line] if mark is not None and mark.line < len(lines) else ""
    here = line[mark.column : mark.column + 1] if mark is not None else ""
    if "\t" in line[: len(line) - len(line.lstrip())]:
        return "a tab is used to indent; use spaces"
    if "nesting depth" in problem:
        return TOO_DEEP
    if "mapping values are not allowed" in problem and mark is not None and mark.column > LONGEST_KEY:
        return f"a key is longer than {LONGEST_KEY} characters"
    if "cannot start any token" in problem:
        return f"a value cannot begin with {visible(here)!r}; put it in quotes"
    if "mapping values are not allowed" in problem:
        return "a ':' too many; put text that holds ': ' in quotes, or check the indentation"
    if "could not find expected ':'" in problem:
        return "expected 'key: value', found no ':'"
    if "did not find expected key" in problem or "<block end>" in problem:
        return "this line does not fit those above it; check the indentation and the quotes"
    if "<document start>" in problem:
        return "there is more behind the end of the document; one file holds one document"
    return f"cannot be read as YAML: {visible(problem)}"


class _Enough(Exception):
    """No use in reading on."""


class _Open:
    """A list or mapping that is still being read."""

    def __init__(self, is_mapping: bool, line: int, column: int) -> None:
        self.is_mapping, self.line, self.column = is_mapping, line, column
        self.items: list[Node] = []
        self.entries: list[Entry] = []
        self.key: Scalar | None = None
        self.seen: dict[str, int] = {}

    def close(self) -> Node:
        if self.is_mapping:
            return Mapping(tuple(self.entries), self.line, self.column)
        return Sequence(tuple(self.items), self.line, self.column)


class _Builder:
    """Takes the parser's events one by one; keeps its own stack, so depth costs nothing."""

    def __init__(self, name: str, lines: list[str]) -> None:
        self.name = name
        self.faults: list[Fault] = []
        self.root: Node | None = None
        self._lines = lines
        self._stack: list[_Open] = []
        self._nodes = 0
        self._documents = 0

    def fault(self, mark: Any, message: str) -> None:
        """Note a fault at a mark of the library (from 0), or at the start; never beyond the file's last line."""
        line, column = (1, 1) if mark is None else self._at(mark)
        self.faults.append(Fault(self.name, line, column, message))

    def _at(self, mark: Any) -> tuple[int, int]:
        last = len(self._lines)
        while last > 1 and not self._lines[last - 1]:
            last -= 1
        if mark.line + 1 > last:
            return last, len(self._lines[last - 1]) + 1
        return mark.line + 1, mark.column + 1

    def take(self, event: yaml.Event) -> None:
        """One event. Raises _Enough when reading on makes no sense."""
        mark = event.start_mark
        if isinstance(event, yaml.DocumentStartEvent):
            self._documents += 1
            if self._documents > 1:
                self._stop(mark, "a second document begins here; one file holds one document")
            if event.tags:
                self.fault(mark, "tags are not used here; remove the %TAG line")
        elif isinstance(event, yaml.AliasEvent):
            self.fault(mark, f"aliases are not used here; write out what *{visible(event.anchor)} stands for")
            self._add(Scalar(None, "", *self._at(mark)), mark)
        elif isinstance(event, yaml.NodeEvent):
            self._node(event, mark)
        elif isinstance(event, yaml.CollectionEndEvent):
            self._add(self._stack.pop().close(), mark)

    def _stop(self, mark: Any, message: str) -> None:
        self.fault(mark, message)
        raise _Enough

    def _node(self, event: Any, mark: Any) -> None:
        self._nodes += 1
        if self._nodes > MAX_NODES:
            self._stop(mark, f"the file holds more than {MAX_NODES} values")
        if event.anchor is not None:
            self.fault(mark, f"anchors are not used here; remove &{visible(event.anchor)}")
        if event.tag is not None:
            self.fault(mark, f"tags are not used here; remove {visible(event.tag)}")
        if isinstance(event, yaml.ScalarEvent):
            self._add(self._scalar(event, mark), mark)
            return
        if len(self._stack) >= MAX_DEPTH:
            self._stop(mark, TOO_DEEP)
        self._stack.append(_Open(isinstance(event, yaml.MappingStartEvent), *self._at(mark)))

    def _scalar(self, event: Any, mark: Any) -> Scalar:
        text: str = event.value
        if found := _FORBIDDEN.search(text):
            self.fault(mark, f"the text holds the character {visible(found.group())}, which does not print; remove it")
        value: Value = text
        # a style of None or '' is a plain scalar; quoted and block scalars are always text
        if not event.style or event.style == "\0":
            try:
                value = _meaning(text)
            except ValueError as error:
                self.fault(mark, str(error))
        return Scalar(value, text, *self._at(mark))

    def _add(self, node: Node, mark: Any) -> None:
        if not self._stack:
            self.root = node
            return
        top = self._stack[-1]
        if not top.is_mapping:
            top.items.append(node)
        elif top.key is None:
            top.key = self._key(top, node, mark)
        else:
            top.entries.append(Entry(top.key.text, top.key.line, top.key.column, node))
            top.key = None

    def _key(self, top: _Open, node: Node, mark: Any) -> Scalar:
        if not isinstance(node, Scalar):
            self.faults.append(Fault(self.name, node.line, node.column, "a key is one word, not a list or a mapping"))
            return Scalar("", "", node.line, node.column)
        if not isinstance(node.value, str):
            shown = visible(node.text) or "nothing"
            self.fault(mark, f"a key is a word, found {shown}; if it is meant as text, put it in quotes")
        elif node.text == "<<":
            self.fault(mark, "merge keys are not used here; write out what << stands for")
        elif node.text in top.seen:
            first = top.seen[node.text]
            self.fault(mark, f"the key '{visible(node.text)}' is given twice; the first is on line {first}")
        top.seen.setdefault(node.text, node.line)
        return node


def _meaning(text: str) -> Value:
    """What a plain word means. Raises ValueError for a number that cannot be kept."""
    if _NULL.fullmatch(text):
        return None
    if text in _TRUE or text in _FALSE:
        return text in _TRUE
    if _INTEGER.fullmatch(text):
        if len(text.lstrip("+-")) > MAX_DIGITS:
            raise ValueError(f"a whole number of more than {MAX_DIGITS} digits; put it in quotes if it is a name")
        return int(text)
    if _BASED.fullmatch(text):
        if len(text) - 2 > MAX_DIGITS:
            raise ValueError(f"a whole number of more than {MAX_DIGITS} digits; put it in quotes if it is a name")
        return int(text, 0)
    if _FLOAT.fullmatch(text):
        value = float(text)
        if not math.isfinite(value):
            raise ValueError("the number is too large")
        return value
    if _NOT_FINITE.fullmatch(text):
        raise ValueError(f"{text} is not a number that can be used")
    return text


def walk(node: Node) -> Iterator[Node]:
    """Every node of the tree, parents first."""
    waiting = [node]
    while waiting:
        here = waiting.pop()
        yield here
        if isinstance(here, Mapping):
            waiting.extend(e.value for e in reversed(here.entries))
        elif isinstance(here, Sequence):
            waiting.extend(reversed(here.items))
