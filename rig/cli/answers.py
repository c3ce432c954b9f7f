"""Prepared answers: a YAML mapping from a prompt's name to its answer."""

from __future__ import annotations

import os
from collections.abc import Collection, Iterable

from rig.errors import Fault, InputError
from rig.events import Prompted
from rig.plan.messages import nearest
from rig.plan.source import Entry, Mapping, Scalar, read
from rig.plan.visible import visible
from rig.run.people import meaning


def read_answers(
    path: str | os.PathLike[str], prompts: Iterable[Prompted], elsewhere: Collection[str] = ()
) -> dict[str, str]:
    """The answers by prompt; those to prompts ``elsewhere`` (of other units) are left out.

    Raises InputError with every fault at its place: a name that no prompt has, an answer that does not fit.
    """
    file = visible(path, 1000)
    tree = read(path)
    if not isinstance(tree, Mapping):
        fault = Fault(file, tree.line, tree.column, "expected lines of the form 'prompt: answer'")
        raise InputError("the prepared answers cannot be used", faults=(fault,))
    known = {prompt.step: prompt for prompt in prompts}
    answers: dict[str, str] = {}
    faults = []
    for entry in tree.entries:
        if entry.key in elsewhere and entry.key not in known:
            continue
        message = _why_not(entry, known)
        if message is None and isinstance(entry.value, Scalar):
            answers[entry.key] = entry.value.text.strip()
        elif message is not None:
            of_key = entry.key not in known
            line, column = (entry.line, entry.column) if of_key else (entry.value.line, entry.value.column)
            faults.append(Fault(file, line, column, message))
    if faults:
        raise InputError("the prepared answers cannot be used", faults=tuple(sorted(faults)))
    return answers


def _why_not(entry: Entry, known: dict[str, Prompted]) -> str | None:
    """What is wrong with one line, or None. ``yes`` and ``no`` are words here, as everywhere in our files."""
    name = visible(entry.key, 60)
    if entry.key not in known:
        return f"no prompt is called '{name}'{nearest(entry.key, known)}"
    if not isinstance(entry.value, Scalar):
        return f"the answer to '{name}' is one value, not a list or a mapping"
    if entry.value.value is None:
        return f"'{name}' has no answer"
    try:
        meaning(known[entry.key], entry.value.text)
    except ValueError as fault:
        return f"{name}: {visible(fault, 400)}"
    return None
