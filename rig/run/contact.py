"""What a contact does after it first closed: it may chatter before it stays (a probe in moving water does)."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from rig.run.edges import Bracket, Seen
from rig.uncertainty import rectangular


@dataclass(frozen=True)
class Chatter:
    """The changes after the first one, each between two looks; ``watched`` is how long one looked on, in s.

    Changes that follow each other faster than the looks are not seen: the count is the least that there were."""

    changes: tuple[Bracket, ...]
    watched: float

    def stayed(self, first: Bracket) -> Bracket:
        """When it closed for good, as far as was watched; ``first`` is when it closed first."""
        return self.changes[-1] if self.changes else first

    def told(self, start: Bracket, first: Bracket) -> str:
        """For people and the record: the time of the first change since ``start``, and what came after it. Half widths
        of both brackets are rectangular (GUM 4.3.7), k = 2."""
        text = f"first after {_time(start, first)}"
        if not self.changes:
            return f"{text}; no change in the {self.watched:g} s after it"
        count = len(self.changes)
        more = f"{count} {'change' if count == 1 else 'changes'} or more in the {self.watched:g} s after it"
        return f"{text}; {more}, the last after {_time(start, self.stayed(first))}"


def _time(start: Bracket, edge: Bracket) -> str:
    u = (rectangular(start.half_width) ** 2 + rectangular(edge.half_width) ** 2) ** 0.5
    return f"{edge.middle - start.middle:.2f} s \u00b1 {2 * u:.2f} s"


def changes(looks: Sequence[Seen], reached: bool = True) -> tuple[Bracket, ...]:
    """The changes among looks in order, the state before the first look being ``reached``."""
    found: list[Bracket] = []
    before: Seen | None = None
    for seen in looks:
        if seen.reached is not reached:
            found.append(Bracket(seen.asked if before is None else before.asked, seen.had))
            reached = seen.reached
        before = seen
    return tuple(found)
