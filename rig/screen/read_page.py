"""Something to read: a run's readings, a certificate."""

from __future__ import annotations

from collections.abc import Sequence

from rich.text import Text
from textual.app import ComposeResult

from rig.screen.page import Act, Page
from rig.screen.scroll import Scrolled
from rig.screen.words import Words


class ReadPage(Page):
    """Lines, and the way back to where one came from."""

    def __init__(self, words: Words) -> None:
        super().__init__(id="read")
        self._lines = Scrolled(words)
        self._from = "jobs"

    def compose(self) -> ComposeResult:
        yield self._lines

    def put(self, lines: Sequence[Text], came_from: str) -> None:
        """Other lines."""
        self._from = came_from
        self._lines.put(lines)

    def leaf(self, pages: int) -> None:
        self._lines.leaf(pages)

    def acts(self) -> list[Act]:
        return [Act("f3", self.rig.words("act.back"), lambda: self.rig.turn_to(self._from))]
