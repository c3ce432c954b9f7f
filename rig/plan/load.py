"""Files that people write, recognised by their first key, checked against their model, every fault at its place."""

from __future__ import annotations

import importlib.resources
import os
import re
from collections.abc import Iterable, Iterator
from collections.abc import Sequence as Several
from dataclasses import dataclass
from pathlib import Path

from pydantic import ValidationError

from rig.errors import Fault, InputError
from rig.plan.causes import CauseTable
from rig.plan.messages import listed, meant, nearest, sentence, written
from rig.plan.procedure import Procedure
from rig.plan.profile import UnitProfile
from rig.plan.rules import ShopRules
from rig.plan.source import Entry, Mapping, Node, Scalar, Sequence, plain, read, walk
from rig.plan.values import Strict
from rig.plan.visible import visible
from rig.plan.wiring import Bench

Loc = Several[str | int]

# The first key of a file tells its kind.
KINDS: dict[str, type[Strict]] = {
    "procedure": Procedure,
    "unit-profile": UnitProfile,
    "bench": Bench,
    "complaint": CauseTable,
    "shop-rules": ShopRules,
}
# Where the bundled files of a kind lie in the package ``procedures``.
FOLDERS = {
    "procedure": "",
    "unit-profile": "units",
    "bench": "benches",
    "complaint": "causes",
    "shop-rules": "rules",
}
_NAME = re.compile(r"[a-z][a-z0-9]*(-[a-z0-9]+)*")


@dataclass(frozen=True)
class Loaded:
    """A file that was read: its kind (the first key), its model, and where each part of it stands."""

    kind: str
    model: Strict
    path: Path
    tree: Mapping

    @property
    def file(self) -> str:
        """What messages call the file."""
        return visible(self.path, 1000)

    def where(self, loc: Loc) -> tuple[int, int]:
        """Line and column, from 1, of the value at a path of the author's keys, such as ``("stages", 0, "steps")``.

        Where the path goes on beyond the file (a value left at its default), the last part that stands there.
        """
        node, _ = descend(self.tree, loc)
        return node.line, node.column

    def fault(self, loc: Loc, message: str) -> Fault:
        """A fault about the value at ``loc``."""
        return Fault(self.file, *self.where(loc), message)


def descend(tree: Node, loc: Loc) -> tuple[Node, Entry | None]:
    """The deepest node on a path, and the mapping's entry that led to it. Parts that the file lacks are skipped."""
    node, via = tree, None
    for part in loc:
        if isinstance(node, Mapping) and isinstance(part, str):
            entry = node.entry(part)
            if entry is not None:
                node, via = entry.value, entry
        elif isinstance(node, Sequence) and isinstance(part, int) and part < len(node.items):
            node, via = node.items[part], None
    return node, via


def load(path: str | os.PathLike[str]) -> Loaded:
    """Read, recognise and validate one file. Raises InputError with every fault, sorted by place."""
    return load_tree(read(path), Path(path))


def load_tree(tree: Node, path: Path) -> Loaded:
    """As ``load``, for a file that has been read."""
    file = visible(path, 1000)
    kind = _kind(tree, file)
    model = KINDS[kind]
    faults, empty = _empty(tree, file)
    try:
        read_model = model.model_validate(plain(tree))
    except ValidationError as error:
        faults += _objections(error, tree, file, model, empty)
    if faults or not isinstance(tree, Mapping):
        raise refusal(file, faults)
    return Loaded(kind, read_model, Path(path), tree)


def _objections(
    error: ValidationError, tree: Node, file: str, model: type[Strict], empty: set[tuple[int, int]]
) -> Iterator[Fault]:
    """What the model objects to, each at its place."""
    errors = error.errors(include_url=False, include_input=False)
    misspelt = {(e["loc"][:-1], meant(e["loc"], model)) for e in errors if e["type"] == "extra_forbidden"}
    for e in errors:
        loc, kind = e["loc"], e["type"]
        if kind == "missing" and (loc[:-1], loc[-1]) in misspelt:
            continue  # is said at the key that was written instead
        # Items that are wrong themselves are not counted, so that a list with one such item seems to be empty.
        if kind == "too_short" and any(len(o["loc"]) > len(loc) and o["loc"][: len(loc)] == loc for o in errors):
            continue
        node, via = descend(tree, written(loc, model))
        if (node.line, node.column) in empty:
            continue  # has been said: nothing stands there
        if via is not None and (kind == "extra_forbidden" or loc[-1] == "[key]"):
            node = Scalar(via.key, via.key, via.line, via.column)  # it is about the key itself
        yield Fault(file, node.line, node.column, sentence(kind, e.get("ctx", {}), e["msg"], loc, model, node))


def refusal(what: str, faults: Iterable[Fault]) -> InputError:
    """The error that carries faults, sorted, each once."""
    found = tuple(sorted(set(faults)))
    several = "one fault" if len(found) == 1 else f"{len(found)} faults"
    return InputError(f"{several} in {what}", "Correct what is named and try again.", what, found)


def _kind(tree: Node, file: str) -> str:
    expected = f"expected a file that begins with {', '.join(k + ':' for k in KINDS)}"
    if not isinstance(tree, Mapping) or not tree.entries:
        raise refusal(file, [Fault(file, tree.line, tree.column, f"{expected}, found no 'key: value' lines")])
    first = tree.entries[0]
    if first.key in KINDS:
        return first.key
    later = next((e for e in tree.entries if e.key in KINDS), None)
    if later is not None:
        message = f"'{later.key}' must be the first key of the file, found '{visible(first.key, 40)}' before it"
        raise refusal(file, [Fault(file, later.line, later.column, message)])
    message = f"{expected}, found '{visible(first.key, 40)}'{nearest(first.key, KINDS)}"
    raise refusal(file, [Fault(file, first.line, first.column, message)])


def _empty(tree: Node, file: str) -> tuple[list[Fault], set[tuple[int, int]]]:
    """Keys and items without a value: a slip of the hand, never a meaning."""
    faults: list[Fault] = []
    places: set[tuple[int, int]] = set()
    for node in walk(tree):
        if isinstance(node, Mapping):
            for e in node.entries:
                if isinstance(e.value, Scalar) and e.value.value is None:
                    message = f"'{visible(e.key, 40)}' has no value; write one, or take the key out"
                    if e.key[:1].isdigit():  # {at-most: 1,5 V}
                        message += "; if it belongs to the number before it, write a point for the comma"
                    faults.append(Fault(file, e.line, e.column, message))
                    places.add((e.value.line, e.value.column))
        elif isinstance(node, Sequence):
            for item in node.items:
                if isinstance(item, Scalar) and item.value is None:
                    faults.append(Fault(file, item.line, item.column, "an item of this list is empty"))
                    places.add((item.line, item.column))
    return faults, places


def bundled(kind: str) -> dict[str, Path]:
    """The files of a kind that come with the rig, by name."""
    folder = Path(str(importlib.resources.files("procedures"))) / FOLDERS[kind]
    return {p.stem: p for p in sorted(folder.glob("*.yaml"))}


def load_named(kind: str, name: str) -> Loaded:
    """A bundled file by its name, or any file by its path (with a slash, or ending .yaml or .yml).

    ``kind`` is the first key, one of KINDS. Raises InputError, also for a file of another kind.
    """
    loaded = load(_find(kind, name))
    if loaded.kind != kind:
        message = f"this is a {loaded.kind} file, expected a {kind} file"
        raise refusal(loaded.file, [Fault(loaded.file, loaded.tree.line, loaded.tree.column, message)])
    return loaded


def _find(kind: str, name: str) -> str | Path:
    if "/" in name or name.endswith((".yaml", ".yml")):
        return name
    known = bundled(kind)
    path = known.get(name)
    if path is not None:
        return path
    word = f"'{visible(name, 60)}'"
    if not _NAME.fullmatch(name):
        what = f"{word} is neither a name nor a path"
        do = "A name is of small letters, digits and hyphens; a path holds a slash or ends in .yaml."
        raise InputError(what, do, kind)
    near = nearest(name, known)
    raise InputError(f"no {kind} is called {word}{near}", f"Known: {listed(known, 40) or 'none'}.", kind)
