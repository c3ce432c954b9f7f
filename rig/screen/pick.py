"""A list of which one line is chosen: the arrows move, Enter takes it."""

from __future__ import annotations

from collections.abc import Sequence

from rich.text import Text
from textual import events
from textual.message import Message

from rig.screen.page import Lines


class Pick(Lines, can_focus=True):
    """Shows as many lines as there is room for, the chosen one among them."""

    DEFAULT_CSS = """
    Pick { height: 1fr; }
    """

    class Taken(Message):
        """Enter was pressed on a line."""

        def __init__(self, key: str) -> None:
            super().__init__()
            self.key = key

    def __init__(self, id: str | None = None) -> None:
        super().__init__(id=id)
        self._items: list[tuple[str, Text]] = []
        self._at = 0

    def put(self, items: Sequence[tuple[str, Text]]) -> None:
        """Other lines; the one that was chosen stays so, where it is still there."""
        before, self._items = self.key, list(items)
        self._at = next((n for n, (key, _) in enumerate(self._items) if key == before), 0)
        self._draw()

    @property
    def key(self) -> str:
        """The key of the chosen line; empty where there is none."""
        return self._items[self._at][0] if self._items else ""

    def on_key(self, event: events.Key) -> None:
        steps = {"up": -1, "down": 1, "pageup": -self.size.height, "pagedown": self.size.height,
                 "home": -len(self._items), "end": len(self._items)}  # fmt: skip
        if event.key in steps:
            self._at = max(0, min(len(self._items) - 1, self._at + steps[event.key]))
            self._draw()
        elif event.key == "enter" and self._items:
            self.post_message(self.Taken(self.key))
        else:
            return
        event.stop()
        event.prevent_default()

    def on_resize(self) -> None:
        self._draw()

    def _draw(self) -> None:
        room = max(1, self.size.height)
        top = max(0, min(self._at - room // 2, len(self._items) - room))
        shown = []
        for n, (_, line) in list(enumerate(self._items))[top : top + room]:
            whole = Text.assemble("> " if n == self._at else "  ", line)
            if n == self._at:
                whole.stylize("reverse")
            shown.append(whole)
        self.show(shown)
