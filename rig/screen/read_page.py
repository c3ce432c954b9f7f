"""Something to read: a run's readings, a certificate."""

from __future__ import annotations

from collections.abc import Sequence

from rich.text import Text
from textual.app import ComposeResult

from rig.cli.rows import wrapped
from rig.screen.page import Act, Page
from rig.screen.scroll import Scrolled
from rig.screen.words import Words


class ReadPage(Page):
    """Lines, and the way back to where one came from."""

    def __init__(self, words: Words) -> None:
        super().__init__(name="read", id="read")
        self._lines = Scrolled(words)
        self._from = "jobs"
        self._all: list[Text] = []

    def compose(self) -> ComposeResult:
        yield self._lines

    def put(self, lines: Sequence[Text], came_from: str) -> None:
        """Other lines."""
        self._from, self._all = came_from, list(lines)
        self._wrap()

    def _wrap(self, keep: bool = False) -> None:
        width = self.app.size.width
        found = [part for line in self._all for part in (wrapped(line, width, 0) if line.cell_len > width else [line])]
        self._lines.put(found, keep)

    def on_resize(self) -> None:
        self._wrap(keep=True)

    def leaf(self, pages: int) -> None:
        self._lines.leaf(pages)

    def acts(self) -> list[Act]:
        return [Act("f3", self.rig.words("act.back"), lambda: self.rig.turn_to(self._from))]
