"""Every rule of the check before power in one table: its name, the file that it is about, what it proves.

The words are those of each rule's own docstring; the contributors' guide shows this table and is held to it.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

from rig.errors import Fault
from rig.plan import proof, proof_bench, proof_paths

Rule = Callable[[Any], Iterator[Fault]]


@dataclass(frozen=True)
class Row:
    """A rule: ``about`` is ``procedure``, ``paths`` (of a procedure), ``bench`` ``warning`` or ``warning of
    paths`` (of a procedure)."""

    name: str
    about: str
    proves: str
    rule: Rule


def rules() -> list[Row]:
    """The table, in the order in which the rules are asked."""
    groups: list[tuple[str, tuple[Any, ...]]] = [
        ("procedure", (*proof.RULES, *proof.LAST)),
        ("paths", proof_paths.RULES),
        ("bench", proof_bench.RULES),
        ("warning", proof.WARNINGS),
        ("warning of paths", proof_paths.WARNINGS),
    ]
    return [_row(about, rule) for about, found in groups for rule in found]


def _row(about: str, rule: Any) -> Row:
    words = re.sub(r"\s+", " ", (rule.__doc__ or "").split("\n\n")[0]).strip()
    return Row(rule.__name__.replace("_", "-"), about, words, rule)


def as_text() -> str:
    """The table as it stands in the contributors' guide."""
    lines = [f"| `{row.name}` | {row.about} | {row.proves} |" for row in rules()]
    return "\n".join(["| rule | about | what it proves |", "| --- | --- | --- |", *lines])
