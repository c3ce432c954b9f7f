"""A form for an action of the records: its fields are what the command asks (``asked.py``), so the two never differ."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field

import click
from rich.text import Text
from textual.app import ComposeResult
from textual.containers import VerticalScroll
from textual.widgets import Input

from rig.cli.codes import WRONG_INPUT
from rig.cli.rows import wrapped
from rig.screen import palette
from rig.screen.actions import Done, act
from rig.screen.asked import SEVERAL, Field, arguments_of, fields_of, for_a_form, told_of
from rig.screen.fields import Choice, TextField
from rig.screen.page import Act, Lines, Page

FRAME = 5  # lines of a form beside what is asked and told: title, who, PIN, two for what comes of it


@dataclass(frozen=True)
class Order:
    """A form to fill in: the command, the words before its own, values that are there already, words to choose from."""

    title: str
    command: click.Command
    words: tuple[str, ...]
    values: Mapping[str, str] = field(default_factory=dict)
    choices: Mapping[str, Sequence[str]] = field(default_factory=dict)
    after: Callable[[], object] = lambda: None  # done when it was carried out
    back: str = "job"  # the page that it was asked for on


class FormPage(Page):
    """One form at a time."""

    DEFAULT_CSS = """
    FormPage VerticalScroll { height: 1fr; background: ansi_default; }
    FormPage > Lines { height: auto; }
    """

    def __init__(self) -> None:
        super().__init__(name="form", id="form")
        self._head, self._said, self._fields = Lines(), Lines(), VerticalScroll()
        self._order: Order | None = None
        self._fields_of: dict[str, Field] = {}
        self._asked: dict[str, TextField | Choice] = {}
        self._by, self._pin = TextField("by", ""), TextField("pin", "", secret=True)
        self._done: Done | None = None
        self._busy = False

    def compose(self) -> ComposeResult:
        yield self._head
        yield self._fields
        yield self._said

    async def put(self, order: Order) -> None:
        """Another form."""
        say = self.rig.words
        self._order, self._done = order, None
        await self._fields.remove_children()
        self._fields_of = {f.name: f for f in fields_of(order.command, order.values, order.choices)}
        self._asked = {name: _widget(field, say("form.needed")) for name, field in self._fields_of.items()}
        self._by = TextField("by", say("form.by"), self.rig.begin_page.by.value)
        self._pin = TextField("pin", say("begin.pin"), "", say("begin.pin-hint"), secret=True)
        await self._fields.mount(*self._asked.values(), self._by, self._pin)
        first = next(iter(self._asked.values()), self._by)
        (first.input if isinstance(first, TextField) else first).focus()
        self.draw()

    def field(self, name: str) -> TextField | Choice:
        """A field by the name that the command has for it. Raises KeyError."""
        return self._asked[name]

    def type_pin(self, pin: str) -> None:
        """The PIN of who does it."""
        self._pin.value = pin

    def draw(self) -> None:
        if self._order is None:
            return
        width = self.app.size.width
        room = self.size.height - len(self._asked) - FRAME
        told = [Text(t, palette.CAUTION if t.startswith("!") else "") for t in told_of(self._order.command)]
        about = [line for text in told for line in wrapped(text, width, 0)]
        if len(about) > room:  # the cautions stay
            about = [line for text in told if text.plain.startswith("!") for line in wrapped(text, width, 0)]
        self._head.show([Text(self._order.title, palette.HEAD), *about])
        lines: list[Text] = []
        if self._done is not None:
            style = "" if self._done.code == 0 else palette.CAUTION
            for line in self._done.lines:
                lines += wrapped(Text(line, style), width, 0)
        else:
            lines = wrapped(Text(self._hint(), palette.QUIET), width, 0)
        self._said.show(lines[: max(2, self.size.height // 2)])

    def _hint(self) -> str:
        focused = self.app.focused
        field = self._fields_of.get(focused.name or "") if isinstance(focused, Input | Choice) else None
        if field is None:
            return ""
        return f"{field.hint} {self.rig.words('form.several', sign=SEVERAL)}" if field.several else field.hint

    def acts(self) -> list[Act]:
        say = self.rig.words
        order = self._order
        if order is None or self._busy:
            return []
        return [Act("f8", say("act.do"), self._do), Act("f3", say("act.back"), lambda: self.rig.turn_to(order.back))]

    def _do(self) -> None:
        order, pin, say = self._order, self._pin.value, self.rig.words
        assert order is not None
        empty = [f.label for f in self._fields_of.values() if f.needed and not self._asked[f.name].value]
        empty += [] if self._by.value else [say("form.by")]
        if empty:
            self._told(Done(WRONG_INPUT, (say("form.missing", fields=", ".join(empty)),)))
            return
        signed = [f"--by={self._by.value}", *([f"--store={self.rig.store}"] if self.rig.store is not None else [])]
        answers = {name: field.value for name, field in self._asked.items()}
        arguments = [*order.words, *arguments_of(order.command, answers, signed)]
        self._pin.value = ""
        self._busy, self._done = True, None
        self.rig.say(say("notice.doing"))
        self.fetch(lambda: act(arguments, pin), self._told)

    def _told(self, done: Done) -> None:
        assert self._order is not None
        command, say = self._order.command, self.rig.words
        lines = tuple(for_a_form(line, command, say) for line in done.lines)
        self._busy, self._done = False, Done(done.code, lines)
        self.rig.say(" ".join(lines[:3]) if done.code == 0 else "")
        if done.code == 0:
            self.rig.begin_page.by.value = self._by.value  # the next act is mostly the same person's
            if self.rig.page is self:  # else somebody looks at something else by now
                self._order.after()
        else:
            self._pin.input.focus()
        self.rig.draw()

    def _failed(self, fault: Exception) -> None:
        self._busy = False
        super()._failed(fault)


def _widget(field: Field, needed: str) -> TextField | Choice:
    """A choice where the command names the words, else text."""
    if field.choices:
        return Choice(field.name, field.label, [(word, word or "-") for word in field.choices], field.value)
    return TextField(field.name, field.label, field.value, needed if field.needed else "")
