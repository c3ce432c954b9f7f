"""A question to the person at the bench: the caution first, then the question, then a deliberate key.

A key counts when it comes alone. A scanner's burst of them never answers anything, and neither does Enter by itself
where the answer is a key."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from rich.text import Text
from textual.app import ComposeResult
from textual.containers import Vertical
from textual.widgets import Input, Static

from rig.cli.asking import expected, why_not
from rig.cli.rows import wrapped
from rig.events import Prompted
from rig.plan.visible import visible
from rig.screen import palette
from rig.screen.words import Words

BY_KEY = ("done", "yes-no", "choice")


class AskBox(Vertical):
    """The box of the question that waits. ``give`` takes the answer; ``head`` says where it is asked."""

    DEFAULT_CSS = """
    AskBox { height: auto; max-height: 12; display: none; }
    AskBox > Static { height: auto; }
    AskBox > Input { height: 1; border: none; padding: 0; background: ansi_default; display: none; }
    AskBox > Input:focus { border: none; text-style: bold underline; background: ansi_default; }
    """

    def __init__(self, words: Words, give: Callable[[Prompted, str], None], head: str = "", id: str = "ask") -> None:
        super().__init__(id=id)
        self._words, self._give, self._head = words, give, head
        self._lines, self._input = Static(), Input(id="answer", select_on_focus=False)
        self.prompt: Prompted | None = None
        self._cautions: tuple[str, ...] = ()
        self._cautioned = False
        self._fault = ""
        self._span = 0, 0

    def compose(self) -> ComposeResult:
        yield self._lines
        yield self._input

    def ask(self, prompt: Prompted | None, cautions: Sequence[str] = ()) -> None:
        """Show a question, and before it what must be read; None where none waits."""
        if prompt is self.prompt:
            return
        self.prompt, self._cautions, self._fault = prompt, tuple(cautions), ""
        self._cautioned = not cautions
        self._input.value = ""
        self._draw()

    def show(self, seen: bool, span: tuple[int, int]) -> None:
        """Have it seen, or not; ``span`` is its first column, and how many it has. A field that is seen anew has the
        keys."""
        if seen and span != self._span:
            self._span = span
            # no margin: the library would take it from the width of everything above as well
            self.styles.padding = 0, max(0, self.app.size.width - sum(span)), 0, span[0]
            self._draw()
        self.display = seen and self.prompt is not None
        if self.display and self.typing and self.app.focused is None:
            self._input.focus()

    @property
    def typing(self) -> bool:
        """Whether the answer is typed, now."""
        return self.prompt is not None and self._cautioned and self.prompt.kind not in BY_KEY

    @property
    def by_key(self) -> bool:
        """Whether a key that comes alone is an answer, or the word that the caution was read."""
        return self.prompt is not None and not self.typing

    def keys(self) -> list[tuple[str, str]]:
        """The keys that answer, with what each says."""
        say, prompt = self._words, self.prompt
        if prompt is None:
            return []
        if not self._cautioned:
            return [("c", say("ask.read-caution"))]
        if prompt.kind == "done":
            return [("d", say("ask.done"))]
        if prompt.kind == "yes-no":
            return [("y", say("ask.yes")), ("n", say("ask.no"))]
        if prompt.kind == "choice":
            return [(str(n), visible(option)) for n, option in enumerate(prompt.options[:9], 1)]
        return []

    def key(self, key: str) -> bool:
        """A key that came alone; whether it meant something."""
        prompt = self.prompt
        if prompt is None or key.lower() not in dict(self.keys()):
            return False
        if not self._cautioned:
            self._cautioned = True
            self._draw()
        elif prompt.kind == "choice":
            self._answer(prompt.options[int(key) - 1])
        else:
            self._answer({"d": "done", "y": "yes", "n": "no"}[key.lower()])
        return True

    def on_input_submitted(self, event: Input.Submitted) -> None:
        event.stop()
        if self.prompt is None or not self.typing:
            return
        said = event.value.strip()
        self._fault = why_not(self.prompt, said) or ""
        if self._fault:
            self._draw()
        else:
            self._answer(said)

    def _answer(self, text: str) -> None:
        prompt = self.prompt
        assert prompt is not None
        self.ask(None)
        self._give(prompt, text)

    def _draw(self) -> None:
        prompt, say = self.prompt, self._words
        self._input.display = self.typing
        if prompt is None:
            return
        width = max(20, self._span[1])
        lines = [Text(visible(self._head), palette.HEAD)] if self._head else []
        for caution in self._cautions:
            lines += wrapped(Text(f"! {say('ask.caution')} {visible(caution, 2000)}", palette.CAUTION), width, 0)
        if self._cautioned:
            lines += wrapped(Text(f"? {visible(prompt.question, 2000)}", palette.ASKS), width, 0)
            if self._fault:
                lines += wrapped(Text(self._fault, palette.CAUTION), width, 2)
            if self.typing:
                lines += wrapped(Text(expected(prompt)), width, 2)
            elif prompt.offered:
                lines.append(Text(f"  {say('ask.offered', offered=visible(prompt.offered))}", palette.QUIET))
        keys = "   ".join(f"[{key.upper()}] {what}" for key, what in self.keys())
        if keys:
            lines += wrapped(Text(keys, palette.HEAD), width, 2)
        self._lines.update(Text("\n").join(lines))
        if self.typing:
            self._input.focus()
