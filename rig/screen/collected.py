"""Lines that were made for a printer, caught to be shown on a page."""

from __future__ import annotations

from rich.text import Text

from rig.cli.looks import Looks
from rig.cli.printer import Printer
from rig.cli.rows import wrapped


class Collected(Printer):
    """A printer that keeps its lines. What prints a page on the terminal makes a page here."""

    def __init__(self, width: int, looks: Looks) -> None:
        self.looks, self.terminal, self.gone = looks, False, False
        self.lines: list[Text] = []
        self._width = width

    @property
    def width(self) -> int:
        return self._width

    def line(self, *lines: Text | str) -> None:
        for line in lines:
            text = line if isinstance(line, Text) else Text(line)
            plain = text.plain
            indent = len(plain) - len(plain.lstrip(" -"))  # a list's lines go on behind its dash
            if text.cell_len >= self._width and indent < self._width:
                told = wrapped(text[indent:], self._width - 1, indent)
                self.lines += [Text.assemble(text[:indent], told[0][indent:]), *told[1:]]
            else:
                self.lines.append(text)
