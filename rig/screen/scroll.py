"""Lines that are longer than the screen: Page Up and Page Down leaf through them."""

from __future__ import annotations

from collections.abc import Sequence

from rich.text import Text

from rig.screen import palette
from rig.screen.page import Lines
from rig.screen.words import Words


class Scrolled(Lines):
    """Shows a part of its lines, from the top, and says when there is more."""

    DEFAULT_CSS = """
    Scrolled { height: 1fr; }
    """

    def __init__(self, words: Words, id: str | None = None) -> None:
        super().__init__(id=id)
        self._words = words
        self._all: list[Text] = []
        self._top = 0

    def put(self, lines: Sequence[Text], keep: bool = False) -> None:
        """Other lines, from their top; ``keep`` where they are the same ones, made anew."""
        self._all, self._top = list(lines), self._top if keep else 0
        self._draw()

    def leaf(self, pages: int) -> None:
        """Back by so many screenfuls, or forward."""
        self._top -= pages * max(1, self.size.height - 2)
        self._draw()

    def on_resize(self) -> None:
        self._draw()

    def _draw(self) -> None:
        room = max(1, self.size.height)
        self._top = max(0, min(self._top, len(self._all) - room))
        shown = self._all[self._top : self._top + room]
        below = len(self._all) - self._top - room
        if below > 0 and room > 2:
            shown[-1] = Text(self._words("more.below", lines=below + 1), palette.QUIET)
        self.show(shown)
