"""Lines that are longer than the screen: Page Up and Page Down leaf through them."""

from __future__ import annotations

from collections.abc import Sequence

from rich.text import Text

from rig.screen.page import Lines


class Scrolled(Lines):
    """Shows a part of its lines, from the top."""

    DEFAULT_CSS = """
    Scrolled { height: 1fr; }
    """

    def __init__(self, id: str | None = None) -> None:
        super().__init__(id=id)
        self._all: list[Text] = []
        self._top = 0

    def put(self, lines: Sequence[Text], keep: bool = False) -> None:
        """Other lines, from their top; ``keep`` where they are the same ones, made anew."""
        self._all, self._top = list(lines), self._top if keep else 0
        self._draw()

    def leaf(self, pages: int) -> None:
        """Back by so many screenfuls, or forward."""
        self._top -= pages * max(1, self.size.height - 1)
        self._draw()

    @property
    def more(self) -> bool:
        """Whether there is more below."""
        return self._top + self.size.height < len(self._all)

    def on_resize(self) -> None:
        self._draw()

    def _draw(self) -> None:
        room = max(1, self.size.height)
        self._top = max(0, min(self._top, len(self._all) - room))
        self.show(self._all[self._top : self._top + room])
