"""Lines on a stream, and on a terminal one line below them that is drawn over."""

from __future__ import annotations

import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TextIO

from rich.console import Console
from rich.text import Text

from rig.cli.looks import Looks, can_show, console_for, is_terminal
from rig.cli.rows import cut

DRAW_EVERY = 0.1  # s of wall time between two drawings of the bottom line: as fast as one can read it
_WIPE = "\r\x1b[2K"


class Printer:
    """Prints to one stream; several threads may use it.

    Once the reader is gone it is silent: a run must not end in the middle because nobody looks any more.
    """

    def __init__(self, stream: TextIO, terminal: bool | None = None) -> None:
        self.console: Console = console_for(stream)
        self.looks = Looks(can_show(stream))
        self.terminal = is_terminal(stream) if terminal is None else terminal
        self.gone = False
        self._stream = stream
        self._lock = threading.RLock()
        self._drawn = False
        self._drawn_at = float("-inf")
        self._holds = 0
        self._open = False  # the cursor stands behind a prompt

    @property
    def width(self) -> int:
        """Columns, now: windows change their size."""
        return self.console.width

    def line(self, *lines: Text | str) -> None:
        """Finished lines; they stay."""
        with self._lock:
            self._wipe()
            for line in lines:
                self._write(self._rendered(line) + "\n")

    def bottom_is_due(self) -> bool:
        """Whether it is time to draw the bottom line again."""
        return self.terminal and not self._holds and time.monotonic() - self._drawn_at >= DRAW_EVERY

    def bottom(self, line: Text) -> None:
        """Draw the line below the finished ones. Nothing on a stream that is no terminal."""
        with self._lock:
            if not self.terminal or self._holds:
                return
            self._end_open()
            self._drawn_at, self._drawn = time.monotonic(), True
            self._write(_WIPE + self._rendered(cut(line, self.width - 1, self.looks)))

    def clear(self) -> None:
        """Take the bottom line away."""
        with self._lock:
            self._wipe()

    @contextmanager
    def held(self) -> Iterator[None]:
        """Keep the bottom line away: somebody types there."""
        with self._lock:
            self._wipe()
            self._holds += 1
        try:
            yield
        finally:
            with self._lock:
                self._holds -= 1

    def prompt(self, text: Text | str) -> None:
        """Text without an end of line, for somebody to type behind."""
        with self._lock:
            self._wipe()
            self._write(self._rendered(text))
            self._open = True

    def typed(self) -> None:
        """Somebody's Enter has ended the line of a prompt. What is printed without it begins a line of its own."""
        with self._lock:
            self._open = False

    def _end_open(self) -> None:
        if self._open:
            self._open = False
            self._write("\n")

    def _wipe(self) -> None:
        self._end_open()
        if self._drawn:
            self._drawn = False
            self._write(_WIPE)

    def _rendered(self, line: Text | str) -> str:
        text = Text(line) if isinstance(line, str) else line
        with self.console.capture() as caught:
            self.console.print(text, end="", no_wrap=True, overflow="ignore", crop=False)
        return caught.get()

    def _write(self, text: str) -> None:
        if self.gone:
            return
        encoding = getattr(self._stream, "encoding", None) or "utf-8"
        try:
            # what the stream cannot carry is written as an escape
            self._stream.write(text.encode(encoding, "backslashreplace").decode(encoding))
            self._stream.flush()
        except (OSError, ValueError):  # the pipe is broken, the terminal is lost, the file is closed
            self.gone = True
