"""Help: what can be done now, and what the signs mean. Nothing that cannot be done."""

from __future__ import annotations

from rich.text import Text
from textual.app import ComposeResult

from rig.cli.rows import wrapped
from rig.limits import Verdict
from rig.screen import palette
from rig.screen.page import Page
from rig.screen.scroll import Scrolled
from rig.screen.words import Words


class HelpPage(Page):
    """Made from the acts of the page that one came from."""

    def __init__(self, words: Words) -> None:
        super().__init__(name="help", id="help")
        self._lines = Scrolled(words)

    def compose(self) -> ComposeResult:
        yield self._lines

    def draw(self) -> None:
        say, looks, width = self.rig.words, self.rig.looks, self.app.size.width
        lines = [Text(say("help.title"), palette.HEAD)]
        for act in self.rig.acts_of_before():
            name = {"escape": "Esc", "ctrl+c": "Ctrl-C", "ctrl+q": "Ctrl-Q"}.get(act.key, act.key.upper())
            lines.append(Text(f"  {name:<8}{act.name}"))
        lines += [Text(), *wrapped(Text(f"! {say('help.caution')}", palette.CAUTION), width, 0)]
        lines += [Text(), *wrapped(Text(say("help.answers")), width, 0), Text()]
        lines.append(Text(say("help.signs"), palette.HEAD))
        signs = Text("  ")
        for verdict in Verdict:
            part = Text.assemble((f"{looks.sign(verdict)} ", looks.style(verdict)), f"{verdict}   ")
            if signs.cell_len + part.cell_len > width:
                lines.append(signs)
                signs = Text("  ")
            signs.append_text(part)
        lines += [signs, Text(), *wrapped(Text(say("help.ruler")), width, 0)]
        self._lines.put(lines, keep=True)

    def leaf(self, pages: int) -> None:
        self._lines.leaf(pages)
