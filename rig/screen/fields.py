"""Fields of a form, a line each: text, text that is not shown, and a choice that the arrow keys turn."""

from __future__ import annotations

from collections.abc import Sequence

from rich.text import Text
from textual import events
from textual.app import ComposeResult
from textual.containers import Horizontal
from textual.widgets import Input, Static

LABEL = 18  # columns


class FieldInput(Input):
    """What is typed into a field. Enter goes to the next one at once, before what is typed behind it arrives."""

    async def _on_key(self, event: events.Key) -> None:
        """Enter is this field's, though the focus has gone on by the time it arrives."""
        if event.key == "enter":
            event.stop()
            event.prevent_default()
            await self.action_submit()


class TextField(Horizontal):
    """A label and what is typed, or scanned: a scanner types, and ends with Enter."""

    DEFAULT_CSS = """
    TextField { height: 1; }
    TextField > .label { width: 18; }
    TextField > Input { width: 1fr; height: 1; border: none; padding: 0; background: ansi_default; }
    TextField > Input:focus { border: none; text-style: bold underline; background: ansi_default; }
    """

    def __init__(self, name: str, label: str, value: str = "", hint: str = "", secret: bool = False) -> None:
        super().__init__(name=name)
        self._label = label
        self.input = FieldInput(value, placeholder=hint, password=secret, name=name)

    def compose(self) -> ComposeResult:
        yield Static(Text(self._label), classes="label")
        yield self.input

    @property
    def value(self) -> str:
        return self.input.value.strip()

    @value.setter
    def value(self, text: str) -> None:
        self.input.value = text


class Choice(Static, can_focus=True):
    """One of a few: the left and right arrows turn it. Letters do nothing: a scanner types them."""

    DEFAULT_CSS = """
    Choice { height: 1; }
    Choice:focus { text-style: bold underline; }
    """

    def __init__(self, name: str, label: str, options: Sequence[tuple[str, str]], value: str = "") -> None:
        super().__init__(name=name)
        self._label, self._options = label, list(options)
        self._at = next((n for n, (key, _) in enumerate(self._options) if key == value), 0)

    def on_mount(self) -> None:
        self._draw()

    @property
    def value(self) -> str:
        return self._options[self._at][0] if self._options else ""

    @value.setter
    def value(self, wanted: str) -> None:
        self._at = next((n for n, (key, _) in enumerate(self._options) if key == wanted), self._at)
        self._draw()

    def turn_to(self, wanted: str) -> bool:
        """Choose one; whether it is among them."""
        self.value = wanted
        return self.value == wanted

    def on_key(self, event: events.Key) -> None:
        turns = {"left": -1, "right": 1}
        if event.key in turns and self._options:
            event.stop()
            self._at = (self._at + turns[event.key]) % len(self._options)
            self._draw()

    def _draw(self) -> None:
        shown = self._options[self._at][1] if self._options else "-"
        self.update(Text(f"{self._label:<{LABEL}}< {shown} >  {self._at + 1}/{len(self._options)}"))
