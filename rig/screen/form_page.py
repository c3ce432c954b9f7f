"""A form for an action of the records: its fields are what the command asks, so the two never differ."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field

import click
from rich.text import Text
from textual.app import ComposeResult
from textual.containers import VerticalScroll
from textual.widgets import Input

from rig.cli.rows import wrapped
from rig.screen import palette
from rig.screen.actions import Done, act
from rig.screen.fields import Choice, TextField
from rig.screen.page import Act, Lines, Page

LEFT_OUT = ("by", "pin_file", "store", "as_json", "rules", "number", "job")
FRAME = 5  # lines of a form beside what is asked and told: title, who, PIN, two for what comes of it
SEVERAL = ";"  # between the values of what may be given more than once


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
        super().__init__(id="form")
        self._head, self._said, self._fields = Lines(), Lines(), VerticalScroll()
        self._order: Order | None = None
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
        params = [p for p in order.command.params if p.name not in LEFT_OUT and p.name is not None]
        self._asked = {p.name or "": _field_of(p, order, say("form.needed")) for p in params}
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
        about = [line for text in _told_of(self._order.command) for line in wrapped(text, width, 0)]
        self._head.show([Text(self._order.title, palette.HEAD), *(about if len(about) <= room else [])])
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
        name = focused.name if isinstance(focused, Input | Choice) else ""
        param = next((p for p in self._order.command.params if p.name == name), None) if self._order else None
        hint = getattr(param, "help", None) or ""
        several = getattr(param, "multiple", False) or (param is not None and param.nargs == -1)
        return f"{hint} {self.rig.words('form.several', sign=SEVERAL)}" if several else hint

    def acts(self) -> list[Act]:
        say = self.rig.words
        order = self._order
        if order is None or self._busy:
            return []
        return [Act("f8", say("act.do"), self._do), Act("f3", say("act.back"), lambda: self.rig.turn_to(order.back))]

    def _do(self) -> None:
        order, pin = self._order, self._pin.value
        assert order is not None
        arguments = [*order.words, *self.arguments(), f"--by={self._by.value}"]
        arguments += [f"--store={self.rig.store}"] if self.rig.store is not None else []
        self._pin.value = ""
        self._busy, self._done = True, None
        self.rig.say(self.rig.words("notice.doing"))
        self.fetch(lambda: act(arguments, pin), self._told)

    def _told(self, done: Done) -> None:
        self._busy, self._done = False, done
        self.rig.say(" ".join(done.lines[:3]) if done.code == 0 else "")
        if done.code == 0:
            assert self._order is not None
            self.rig.begin_page.by.value = self._by.value  # the next act is mostly the same person's
            if self.rig.page is self:  # else somebody looks at something else by now
                self._order.after()
        else:
            self._pin.input.focus()
        self.rig.draw()

    def _failed(self, fault: Exception) -> None:
        self._busy = False
        super()._failed(fault)

    def arguments(self) -> list[str]:
        """What the fields say, as the command line has it."""
        assert self._order is not None
        options: list[str] = []
        positional: list[str] = []
        for param in self._order.command.params:
            asked = self._asked.get(param.name or "")
            if asked is None or not asked.value:
                continue
            several = getattr(param, "multiple", False) or param.nargs == -1
            values = [v.strip() for v in asked.value.split(SEVERAL)] if several else [asked.value]
            if isinstance(param, click.Argument):
                positional += values
            elif isinstance(param, click.Option) and param.is_flag:
                options += [param.opts[0]] if asked.value == "yes" else []
            else:
                options += [f"{param.opts[0]}={value}" for value in values]
        return [*options, *(word for word in positional if not word.startswith("-"))]


def _told_of(command: click.Command) -> list[Text]:
    """What the command is for, and the cautions that go with it: its help without the examples."""
    parts = [part.strip() for part in (command.help or "").split("\n\n")]
    told = [" ".join(part.split()) for part in parts if not part.startswith("\b")]
    return [Text(part, palette.CAUTION if n else "") for n, part in enumerate(told)]


def _field_of(param: click.Parameter, order: Order, needed: str) -> TextField | Choice:
    """The field for what a command asks: a choice where it names the words, else text."""
    name = param.name or ""
    label = param.opts[0].lstrip("-").replace("-", " ") if isinstance(param, click.Option) else name
    default = param.default if isinstance(param.default, str | int | float) else ""
    value = order.values.get(name, str(default) if not isinstance(default, bool) else "")
    words: Sequence[str] = order.choices.get(name, ())
    if isinstance(param.type, click.Choice):
        words = [str(word) for word in param.type.choices]
    if getattr(param, "is_flag", False):
        words = ["no", "yes"]
    if not words:
        return TextField(name, label, value, needed if param.required else "")
    free = not param.required and not getattr(param, "is_flag", False) and name not in order.choices
    options = [("", "-")] if free else []
    return Choice(name, label, [*options, *((word, word) for word in words)], value)
