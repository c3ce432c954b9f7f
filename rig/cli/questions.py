"""The questions of a diagnosis without a rig: shown on stderr, answered on stdin, the most telling one first."""

from __future__ import annotations

import sys
from collections.abc import Callable
from typing import TYPE_CHECKING

from rig.cli.printer import Printer
from rig.diagnosis.answers import answered
from rig.diagnosis.diagnosis import diagnose
from rig.plan.visible import visible

if TYPE_CHECKING:
    from rig.diagnosis.evidence import Evidence
    from rig.diagnosis.learn import Knowledge
    from rig.diagnosis.unit_table import UnitTable

TRIES = 3  # answers that are not understood before a question is passed over


class Questions:
    """Asks while asking helps."""

    def __init__(
        self,
        table: UnitTable,
        knowledge: Knowledge,
        owner_only: bool,
        read: Callable[[], str] | None = None,
        out: Printer | None = None,
    ) -> None:
        self._table, self._knowledge, self._owner = table, knowledge, owner_only
        self._read = read or sys.stdin.readline
        self._out = out or Printer(sys.stderr)

    def ask(self, found: list[Evidence]) -> tuple[list[Evidence], frozenset[str]]:
        """What was answered, and what was asked. Ends when asking helps no more, or the input ends."""
        passed: set[str] = set()
        while True:
            now = diagnose(self._table, found, self._knowledge, owner_only=self._owner, unknown=frozenset(passed))
            left = [n for n in now.advice.next if n.observation not in passed]
            if now.advice.do != "look" or not left:
                return found, frozenset(passed)
            name = left[0].observation
            said = self._one(name, left[0].why)
            if said is None:
                return found, frozenset(passed)
            passed.add(name)
            if not isinstance(said, str):
                found = [*found, said]

    def _one(self, name: str, why: str) -> Evidence | str | None:
        """One question's evidence; a word where nobody knows; None at the end of the input."""
        question = self._table.observations[name]
        told = [self._table.table.set_ups[s].caution for s in question.set_ups]
        self._out.line("", *(f"CAUTION {text}" for text in told if text is not None))
        self._out.line(f"? {question.question}", f"  ({why})")
        for n, (outcome, text) in enumerate(question.tells.items(), 1):
            self._out.line(f"  {n}  {text} [{outcome}]")
        for _ in range(TRIES):
            self._out.prompt("  a number, a word, or don't know > ")
            line = self._read()
            if not line:
                self._out.line()
                return None
            if sys.stdin.isatty():
                self._out.typed()
            if not line.strip():
                return "passed over"
            try:
                one = answered(name, question, line, "an answer")
            except ValueError as fault:
                self._out.line(f"  {visible(fault, 300)}. Once more, please.")
                continue
            return one if one is not None else "not known"
        return "not understood"
