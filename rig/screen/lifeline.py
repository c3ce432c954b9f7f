"""Whatever becomes of the screen: everything is turned off, the terminal is as it was, the exit code is right.

The screen may be left, crash, hang, or lose its terminal; signals may come. Every run is told at once, from the signal
handler itself; then the screen has a little time to go by itself, and is left behind if it does not. Of a process
that is killed outright the second process takes care."""

from __future__ import annotations

import os
import signal
import sys
import termios
import threading
from contextlib import suppress
from types import FrameType
from typing import Any

from rig.cli.codes import PASSED, SIGNALLED, STOPPED
from rig.screen.app import BenchApp
from rig.screen.give_way import give_way
from rig.screen.running import Running
from rig.screen.scene import Scene
from rig.screen.slot import Slot
from rig.screen.slot_text import of_slot

SIGNALS = (signal.SIGINT, signal.SIGTERM, signal.SIGHUP, signal.SIGQUIT)
SCREEN_GOES_WITHIN = 4.0  # s for the screen to restore the terminal by itself once everything is off
LEAVE_SCREEN = b"\x1b[?1049l\x1b[?25h\x1b[?1004l\x1b[?2004l\x1b[<u\x1b[0m\r\n"  # main buffer, cursor, modes, colours


class Lifeline:
    """Runs an app to its end."""

    def __init__(self, app: BenchApp) -> None:
        self._app = app
        self._begun: list[Running] = []  # those that were on when the last one began, and it
        self._number: int | None = None
        self._gone = threading.Event()
        app.told = self._began
        self._terminal = _terminal_state()

    def run(self) -> int:
        """Show it until it is left; the exit code."""
        give_way()
        before = {number: signal.signal(number, self._signalled) for number in SIGNALS}
        try:
            self._app.run(mouse=False)
        finally:
            self._off()
            self._gone.set()
            self._restore()
            for number, handler in before.items():
                signal.signal(number, handler)
        return self._code()

    def _began(self, running: Running) -> None:
        self._begun = [*(before for before in self._begun if before.alive), running]
        signal.signal(signal.SIGTSTP, self._paused)

    def _paused(self, number: int, frame: FrameType | None) -> None:
        """Off and a question, never stopped while on. It is the program that is signalled: in every slot."""
        for running in self._begun:
            running.pause()

    def _signalled(self, number: int, frame: FrameType | None) -> None:
        if self._number is not None:
            return
        self._number = number
        for running in self._begun:
            running.end(f"ended by {signal.Signals(number).name}", number)
        loop = self._app.loop
        if loop is not None:
            with suppress(RuntimeError):
                loop.call_soon_threadsafe(self._app.end_by_signal, number)
        threading.Thread(target=self._last_way_out, args=(number,), name="last way out", daemon=True).start()

    def _last_way_out(self, number: int) -> None:
        """For a screen that hangs, or whose terminal is gone."""
        for running in self._begun:
            running.join()
        if not self._gone.wait(SCREEN_GOES_WITHIN):
            self._restore()
            with suppress(OSError):
                os.write(2, LEAVE_SCREEN)
            os._exit(SIGNALLED + number)

    def _off(self) -> None:
        """The runs outlive the screen until all is off. All are told before one is waited for."""
        alive = [running for running in self._begun if running.alive]
        for running in alive:
            running.end(self._app.words("record.left" if self._app.left else "record.screen-failed"))
        if alive:
            self._restore()
            _tell(self._app.words("notice.leaving"))
        for running in alive:
            running.join()

    def _restore(self) -> None:
        if self._terminal is not None:
            with suppress(termios.error, OSError, ValueError):
                termios.tcsetattr(sys.__stdin__.fileno(), termios.TCSANOW, self._terminal)  # type: ignore[union-attr]

    def _code(self) -> int:
        words, slots = self._app.words, self._app.slots
        codes = [PASSED if self._app.left else STOPPED]
        ends = {slot: scene for slot in slots if (scene := _last_scene(slot)) is not None}
        for slot in [slot for slot, scene in ends.items() if not scene.confirmed_off]:
            codes.append(STOPPED)
            _tell(of_slot(slot, words("left.not-off"), slots, words))
        if ends and all(scene.confirmed_off for scene in ends.values()):
            _tell(words("left.off"))
        if self._number is not None:
            codes.append(SIGNALLED + self._number)
        return max(codes)


def _last_scene(slot: Slot) -> Scene | None:
    """What the last run that began here came to, with what it told after the screen had gone."""
    for _ in slot.news(sys.maxsize):
        pass
    scene = slot.outputs_of
    return scene if scene is not None and scene.started is not None else None


def _tell(text: str) -> None:
    with suppress(OSError, ValueError):
        print(text, file=sys.stderr, flush=True)


def _terminal_state() -> Any:
    try:
        return termios.tcgetattr(sys.__stdin__.fileno())  # type: ignore[union-attr]
    except (termios.error, OSError, ValueError, AttributeError):
        return None
