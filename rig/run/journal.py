"""Where the engine writes down what happens. It does not know what stands behind it."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Protocol

from rig.events import Event, RunEnded, RunRecord, RunStarted, StepEnded


class Journal(Protocol):
    """Keeps the events of one run. Synchronous on purpose: the engine's time stands still meanwhile."""

    def record(self, event: Event) -> None:
        """Keep one event; returns only when what must not be lost is safe. Raises RecordError."""


class ListJournal:
    """Keeps the events in memory."""

    def __init__(self) -> None:
        self.events: list[Event] = []

    def record(self, event: Event) -> None:
        self.events.append(event)


def record_of(events: Iterable[Event]) -> RunRecord:
    """The whole run, from its events alone. Raises ValueError when its beginning or its end is missing."""
    started: RunStarted | None = None
    ended: RunEnded | None = None
    steps = []
    for event in events:
        if isinstance(event, RunStarted):
            started = event
        elif isinstance(event, StepEnded):
            steps.append(event.result)
        elif isinstance(event, RunEnded):
            ended = event
    if started is None or ended is None:
        raise ValueError(f"a run needs its {'beginning' if started is None else 'end'}")
    return RunRecord(started, tuple(steps), ended)
