"""The answers of whoever sits at the screen, handed to the thread that waits for one."""

from __future__ import annotations

import queue

from rig.events import Event, Prompted, RunEnded


class Answers:
    """What a run asks at, and what the screen answers to. A new question, or the end of the run, withdraws one that
    still waits: its answer is not taken for another's, not even for the same question asked anew."""

    def __init__(self) -> None:
        self._given: queue.SimpleQueue[tuple[Prompted, str] | None] = queue.SimpleQueue()
        self._turn = 0

    def __call__(self, prompted: Prompted) -> str:
        """Wait for the answer; empty for a question that was withdrawn, and to accept what is offered."""
        self._turn += 1
        mine = self._turn
        while True:
            given = self._given.get()
            if self._turn != mine:
                return ""
            if given is not None and given[0] is prompted:
                return given[1]

    def give(self, asked: Prompted, text: str) -> None:
        """The answer to a question."""
        self._given.put((asked, text))

    def take(self, event: Event) -> None:
        """One event of the run."""
        if isinstance(event, Prompted | RunEnded):
            self.withdraw()

    def withdraw(self) -> None:
        """Nobody wants the answer any more."""
        self._turn += 1
        self._given.put(None)
