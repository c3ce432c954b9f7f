"""Answers to the table's questions, by a person: an outcome's word, what it looks like in words, or "don't know"."""

from __future__ import annotations

import os

from rig.diagnosis.evidence import Evidence, seen
from rig.errors import Fault, InputError
from rig.plan.causes import Observation, Outcome
from rig.plan.messages import listed, nearest
from rig.plan.source import Mapping as YamlMapping
from rig.plan.source import Scalar, read
from rig.plan.visible import visible

DO_NOT_KNOW = frozenset({"don't know", "dont know", "do not know", "unknown", "not known", "?"})


def understood(question: Observation, said: str) -> Outcome | None:
    """The outcome that an answer means; None for "don't know". Raises ValueError with what was expected."""
    word = " ".join(said.strip().lower().split())
    if word in DO_NOT_KNOW:
        return None
    options = list(question.tells.items())
    if word.isdigit() and 1 <= int(word) <= len(options):
        return options[int(word) - 1][0]
    for outcome, text in options:
        if word in (outcome, text.lower()):
            return outcome
    begins = [outcome for outcome, text in options if text.lower().split(",")[0].split(" ")[0] == word]
    if len(begins) == 1:  # "yes" where one answer begins with yes
        return begins[0]
    words = [*question.tells, "don't know"]
    raise ValueError(f"expected one of {listed(words)}, found '{visible(said, 40)}'{nearest(word, words)}")


def answered(name: str, question: Observation, said: str, who: str) -> Evidence | None:
    """The evidence of one answer; None where nobody knows. Raises ValueError."""
    outcome = understood(question, said)
    return None if outcome is None else seen(name, outcome, "", who)


def read_answers(path: str | os.PathLike[str], questions: dict[str, Observation]) -> dict[str, Evidence | None]:
    """Prepared answers: a YAML mapping from an observation's name to its answer; None where nobody knows.

    Raises InputError with every fault at its place.
    """
    file, tree = visible(path, 1000), read(path)
    if not isinstance(tree, YamlMapping):
        fault = Fault(file, tree.line, tree.column, "expected lines of the form 'observation: answer'")
        raise InputError("the prepared answers cannot be used", faults=(fault,))
    found: dict[str, Evidence | None] = {}
    faults: list[Fault] = []
    for entry in tree.entries:
        name = visible(entry.key, 60)
        if entry.key not in questions:
            message = f"no observation is called '{name}'{nearest(entry.key, questions)}"
            faults.append(Fault(file, entry.line, entry.column, message))
        elif not isinstance(entry.value, Scalar) or entry.value.value is None:
            faults.append(Fault(file, entry.value.line, entry.value.column, f"the answer to '{name}' is one word"))
        else:
            try:
                found[entry.key] = answered(entry.key, questions[entry.key], entry.value.text, "prepared answers")
            except ValueError as fault:
                place = (entry.value.line, entry.value.column)
                faults.append(Fault(file, *place, f"{name}: {fault}"))
    if faults:
        raise InputError("the prepared answers cannot be used", faults=tuple(sorted(faults)))
    return found
