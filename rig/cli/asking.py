"""Asking a person at the terminal."""

from __future__ import annotations

import os
import select
import sys
import threading
from collections.abc import Callable

from rig.cli.printer import Printer
from rig.errors import Stopped
from rig.events import Event, Prompted, RunEnded
from rig.plan.visible import visible

LOOK_EVERY = 0.2  # s: how soon a closed terminal, or the end of the run, is noticed while somebody thinks
_LONGEST = 2000  # characters of an answer
_EXPECTED = {"done": "Enter when done", "yes-no": "yes or no", "text": "a few words"}


ReadLine = Callable[[Callable[[], bool]], str | None]


class Asking:
    """Reads answers. The question itself has been shown already: it is an event of the run.

    It also listens to the run: a new question, or the end, withdraws one that still waits. The run was paused
    or broken off meanwhile, and nobody wants that answer any more.
    """

    def __init__(self, printer: Printer, read_line: ReadLine | None = None) -> None:
        self._out = printer
        self._read_line = read_line or Lines(sys.stdin.fileno())
        self._turn = 0
        # whether what is read now will not be seen behind the prompt: it was typed before, or comes from a pipe
        self._ahead: Callable[[], bool] = getattr(self._read_line, "ahead", lambda: False)

    def take(self, event: Event) -> None:
        """One event of the run."""
        if isinstance(event, Prompted | RunEnded):
            self._turn += 1

    def __call__(self, prompted: Prompted) -> str:
        """The answer, as typed; empty to accept what the simulated person offers.

        Empty, too, for a question that was withdrawn. Raises Stopped at the input's end or on an interrupt.
        """
        self._turn += 1
        mine = self._turn
        with self._out.held():
            while True:
                ahead = self._ahead()
                self._out.prompt(f"    {expected(prompted)} > ")
                try:
                    line = self._read_line(lambda: self._turn == mine)
                except (KeyboardInterrupt, OSError):
                    line = ""
                if line and not ahead:
                    self._out.typed()
                if line is None:
                    return ""
                if not line:
                    do = "Answer the questions at the terminal, or prepare the answers: --answers FILE."
                    raise Stopped("the question was not answered: the input has ended", do, prompted.step)
                said = line.strip()
                fault = why_not(prompted, said)
                if fault is None:
                    # Enter alone is an answer to "done?"; the record has it in words
                    return said or ("done" if prompted.kind == "done" and not prompted.offered else "")
                self._out.line(f"    {fault}")


def expected(prompted: Prompted) -> str:
    """What kind of answer is wanted, in a few words."""
    if prompted.kind == "choice":
        wanted = "one of: " + ", ".join(visible(o) for o in prompted.options)
    elif prompted.kind == "number":
        wanted = f"a number in {prompted.unit}" if prompted.unit not in ("", "1") else "a number"
    elif prompted.kind in ("reading", "stop-watch"):
        wanted = f"the reading in {prompted.unit}, ± if known, and with what: 23.7 ± 0.1 with DMM 7"
    else:
        wanted = _EXPECTED.get(prompted.kind, visible(prompted.kind))
    if prompted.offered and prompted.kind != "done":
        wanted += f" [Enter: {visible(prompted.offered)}, says the simulated person]"
    return wanted


def why_not(prompted: Prompted, said: str) -> str | None:
    """What is wrong with an answer, or None."""
    from rig.run.people import meaning

    if not said and prompted.offered:
        return None
    if len(said) > _LONGEST or visible(said, _LONGEST) != said:
        return "This holds characters that do not print, or too many. Once more, please."
    try:
        meaning(prompted, said)
    except ValueError as fault:
        return f"{visible(fault, 400)}. Once more, please."
    return None


class Lines:
    """Lines of a file descriptor, read without the interpreter's own buffer.

    A thread that waits in that buffer when the program ends would abort it.
    """

    def __init__(self, fd: int) -> None:
        self._fd = fd
        self._buffer = b""
        self._lock = threading.Lock()

    def __call__(self, wanted: Callable[[], bool]) -> str | None:
        """The next line; empty at the end of the input; None when it is no longer wanted."""
        while True:
            with self._lock:
                if not wanted():
                    return None
                line = self._take()
            if line is not None:
                return line

    def ahead(self) -> bool:
        """Whether the next line is there already, or is not shown to who types it."""
        ready, _, _ = select.select([self._fd], [], [], 0)
        return bool(ready) or b"\n" in self._buffer or not os.isatty(self._fd)

    def _take(self) -> str | None:
        """A line, if there is one within a moment."""
        if b"\n" not in self._buffer:
            ready, _, _ = select.select([self._fd], [], [], LOOK_EVERY)
            more = os.read(self._fd, 4096) if ready else None
            if more == b"":
                rest, self._buffer = self._buffer, b""
                return rest.decode("utf-8", "replace")
            self._buffer += more or b""
            return None
        line, _, self._buffer = self._buffer.partition(b"\n")
        return line.decode("utf-8", "replace") + "\n"
