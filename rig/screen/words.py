"""Every word that the screen itself says, from one file: a shop can translate it and name its own with ``--words``."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from pathlib import Path
from string import Formatter

import yaml

from rig.errors import Fault, InputError
from rig.plan.messages import nearest

BUNDLED = Path(__file__).with_name("words.yaml")


class Words:
    """The texts by name. ``words("power.nothing", age="0.3 s")`` puts values in."""

    def __init__(self, texts: Mapping[str, str]) -> None:
        self._texts = texts

    def __call__(self, name: str, /, **values: object) -> str:
        text = self._texts[name]
        return text.format(**values) if values else text


def read_words(path: str | None = None) -> Words:
    """The bundled texts, with those of ``path`` in their places. Raises InputError for a name that there is not, a text
    that is none, and a place for a value that the bundled text does not have."""
    own = _bundled()
    if path is None:
        return Words(own)
    texts, faults = dict(own), []
    for name, text in _read(Path(path), path).items():
        if name not in own:
            faults.append(Fault(path, 0, 0, f"no text is called {name!r}{nearest(name, own)}"))
        elif not isinstance(text, str):
            faults.append(Fault(path, 0, 0, f"{name}: expected a text"))
        elif (strange := _places(text) - _places(own[name])) or ("{" in text.replace("{{", "") and not _places(text)):
            faults.append(Fault(path, 0, 0, f"{name}: has a place that the text it stands for has not: {strange}"))
        else:
            texts[name] = text
    if faults:
        raise InputError("the words cannot be used", faults=tuple(faults))
    return Words(texts)


@cache
def _bundled() -> Mapping[str, str]:
    return {name: str(text) for name, text in _read(BUNDLED, BUNDLED.name).items()}


def _read(path: Path, shown: str) -> Mapping[str, object]:
    try:
        found = yaml.load(path.read_text(encoding="utf-8"), yaml.CSafeLoader)
    except OSError as fault:
        raise InputError(f"cannot be read: {fault.strerror}", "Name a file of words.", shown) from None
    except (ValueError, yaml.YAMLError) as fault:
        mark = getattr(fault, "problem_mark", None)
        line, column = (mark.line + 1, mark.column + 1) if mark is not None else (0, 0)
        what = str(getattr(fault, "problem", None) or fault)
        raise InputError("the words cannot be read", faults=(Fault(shown, line, column, what),)) from None
    if not isinstance(found, dict):
        raise InputError("the words cannot be read", faults=(Fault(shown, 1, 1, "expected names and texts"),))
    return {str(name): text for name, text in found.items()}


def _places(text: str) -> set[str]:
    try:
        return {name for _, name, _, _ in Formatter().parse(text) if name is not None}
    except ValueError as fault:
        return {str(fault)}
