"""How things look: signs beside every verdict's word, colours that add to them, plain ASCII where needed."""

from __future__ import annotations

import io
import os
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, TextIO

from rig.limits import Verdict
from rig.shown.ruler import Ruler, Zone

if TYPE_CHECKING:
    from rich.console import Console
    from rich.text import Text

PIPE_WIDTH = 110  # columns of a file or pipe, unless COLUMNS says otherwise

_SIGNS = {  # in Unicode, in ASCII, and in which style
    Verdict.PASS: ("✓", "+", "green"),
    Verdict.CONDITIONAL_PASS: ("✓?", "+?", "yellow"),
    Verdict.CONDITIONAL_FAIL: ("✗?", "x?", "bold yellow"),
    Verdict.FAIL: ("✗", "x", "bold red"),
    Verdict.NOT_EVALUATED: ("○", "o", "cyan"),
    Verdict.NO_READING: ("∅", "0", "bold magenta"),
    Verdict.STOPPED: ("■", "#", "bold red"),
    Verdict.NOT_RUN: ("·", ".", "dim"),
}
_ZONES = {
    Zone.OUT: ("·", ".", "red"),
    Zone.OUT_GUARD: ("░", ":", "yellow"),
    Zone.END: ("┃", "|", "bold"),
    Zone.IN_GUARD: ("▒", "~", "yellow"),
    Zone.IN: ("─", "-", "green"),
}
_MARKS = {-1: ("◄", "<"), 0: ("◆", "O"), 1: ("►", ">")}


@dataclass(frozen=True)
class Looks:
    """``fancy`` when the other side can show more than ASCII; ``paint`` has other colours in the places of ours."""

    fancy: bool
    paint: Mapping[str, str] = field(default_factory=dict)

    def pick(self, unicode: str, ascii_: str) -> str:
        """One of two ways to write a thing."""
        return unicode if self.fancy else ascii_

    def sign(self, verdict: Verdict) -> str:
        """The sign beside a verdict's word."""
        return self.pick(*_SIGNS[verdict][:2])

    def style(self, verdict: Verdict) -> str:
        """The colour of a verdict."""
        return self._painted(_SIGNS[verdict][2])

    def _painted(self, style: str) -> str:
        return self.paint.get(style, style)

    def draw(self, ruler: Ruler, verdict: Verdict) -> Text:
        """A ruler as text."""
        from rich.text import Text

        drawn = Text()
        for n, zone in enumerate(ruler.zones):
            unicode, ascii_, style = _ZONES[zone]
            if n == ruler.mark:
                drawn.append(self.pick(*_MARKS[ruler.off]), f"{self.style(verdict)} bold")
            else:
                drawn.append(self.pick(unicode, ascii_), self._painted(style))
        return drawn


def can_show(stream: TextIO) -> bool:
    """Whether a stream can carry the signs."""
    every = "".join(s[0] for s in (*_SIGNS.values(), *_ZONES.values(), *_MARKS.values())) + "±Ω°µ–≤≥…"
    try:
        every.encode(getattr(stream, "encoding", None) or "ascii")
    except (UnicodeEncodeError, LookupError):
        return False
    return True


def console_for(stream: TextIO) -> Console:
    """What turns text into lines for a stream: in colour only for a terminal, and never with NO_COLOR.

    It does not write to the stream itself: it would end the program when the reader is gone.
    """
    from rich.console import Console

    terminal = is_terminal(stream)
    return Console(
        file=io.StringIO(),
        force_terminal=terminal,
        force_interactive=False,
        no_color=True if os.environ.get("NO_COLOR") else None,
        color_system="auto" if terminal else None,
        width=None if terminal else _fixed_width(stream),
        highlight=False,
        markup=False,
        emoji=False,
        legacy_windows=False,
    )


def is_terminal(stream: TextIO) -> bool:
    """Whether lines on the stream can be drawn over."""
    try:
        return stream.isatty() and os.environ.get("TERM", "") not in ("dumb", "unknown")
    except ValueError:  # closed
        return False


def _fixed_width(stream: TextIO) -> int:
    """Columns of a file, of a pipe, or of a terminal that can do nothing but show lines."""
    columns = os.environ.get("COLUMNS", "")
    if columns.isascii() and columns.isdigit():
        return max(20, int(columns))
    try:
        return max(20, os.get_terminal_size(stream.fileno()).columns)
    except (OSError, ValueError):  # no terminal
        return PIPE_WIDTH
