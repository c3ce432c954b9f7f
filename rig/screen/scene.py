"""What the screen knows of a run: folded from what the run tells, without a word of how it looks."""

from __future__ import annotations

import time
from collections import deque
from collections.abc import Iterable
from dataclasses import dataclass, field

from rig.cli.performing import Prepared
from rig.cli.progress import PlanFacts, Progress, facts_of
from rig.events import (
    AllOff,
    Answered,
    Event,
    Noted,
    OutputConfirmed,
    Prompted,
    RunEnded,
    RunStarted,
    Sampled,
    StageStarted,
    StepEnded,
    StepResult,
    StepStarted,
    Traced,
)
from rig.plan.plan import each_step
from rig.plan.procedure import Repeat
from rig.screen.running import Over, Ready, Told
from rig.screen.seen import BenchSeen

KEPT_NOTES = 50
NEWS = 2  # steps for which a note is worth a line
KEPT_POINTS = 600  # of a trace: more than any terminal has columns


@dataclass(frozen=True)
class Planned:
    """A step that is to come: its stage, its name, what it does."""

    stage: str
    step: str
    minutes: float


@dataclass
class Trace:
    """The latest points of one quantity, times on the bench's clock."""

    step: str
    quantity: str
    unit: str
    points: deque[tuple[float, float]] = field(default_factory=lambda: deque(maxlen=KEPT_POINTS))


@dataclass(frozen=True)
class Note:
    """Something that a person should know, and how many steps had ended when it was told."""

    text: str
    after: int


class Scene:
    """One run as it is seen. ``pace`` is the bench's seconds to one on the wall, 0 when only events move its time."""

    def __init__(self, pace: float) -> None:
        self.pace = pace
        self.ready: Prepared | None = None
        self.progress = Progress(PlanFacts())
        self.plan: tuple[Planned, ...] = ()
        self.started: RunStarted | None = None
        self.stage: StageStarted | None = None
        self.prompt: Prompted | None = None
        self.cautions: tuple[str, ...] = ()  # what must be read before the prompt: its own, the stage's once
        self._untold: tuple[str, ...] = ()  # the stage's cautions, until a prompt has shown them
        self.results: list[StepResult] = []
        self.notes: deque[Note] = deque(maxlen=KEPT_NOTES)
        self.traces: dict[str, Trace] = {}
        self.seen: BenchSeen | None = None
        self.all_off: AllOff | None = None
        self.all_off_wall = 0.0
        self.ended: RunEnded | None = None
        self.over: Over | None = None
        self._moved_at = time.monotonic()

    def take(self, told: Told) -> None:
        """One thing that the run tells."""
        if isinstance(told, Event):
            self._event(told)
        elif isinstance(told, BenchSeen):
            self.seen = told
        elif isinstance(told, Ready):
            self.ready = told.prepared
            self.progress = Progress(facts_of(told.prepared.plan))
            self.plan = _planned(told.prepared)
        else:
            self.over, self.prompt = told, None

    def _event(self, event: Event) -> None:
        self.progress.take(event)
        self._moved_at = time.monotonic()
        if isinstance(event, Sampled):
            self._point(event.step, event.quantity, event.unit, [(event.at, event.value)])
        elif isinstance(event, Traced):
            self._point(event.step, event.quantity, event.unit, zip(event.times, event.values, strict=True))
        elif isinstance(event, StepStarted):
            self.prompt = None
        elif isinstance(event, StepEnded):
            self.results.append(event.result)
        elif isinstance(event, Prompted):
            self.prompt = event
            self.cautions = tuple(caution for caution in (*self._untold, event.caution) if caution)
            self._untold = ()
        elif isinstance(event, Answered):
            self.prompt = None
        elif isinstance(event, Noted):
            self.notes.append(Note(event.text, len(self.results)))
        elif isinstance(event, OutputConfirmed):
            self.all_off = None
        elif isinstance(event, AllOff):
            self.all_off, self.all_off_wall, self.prompt = event, time.monotonic(), None
        elif isinstance(event, RunStarted):
            self.started = event
        elif isinstance(event, StageStarted):
            self.stage, self._untold = event, event.cautions
        elif isinstance(event, RunEnded):
            self.ended, self.prompt = event, None

    def _point(self, step: str, quantity: str, unit: str, points: Iterable[tuple[float, float]]) -> None:
        trace = self.traces.get(quantity)
        if trace is None or trace.step != step:
            # a trace stays until another step records something: one may look at it afterwards
            going = self.progress.running
            self.traces = {q: t for q, t in self.traces.items() if t.step in going}
            trace = self.traces[quantity] = Trace(step, quantity, unit)
        last = trace.points[-1][0] if trace.points else float("-inf")
        for at, value in points:
            if at > last:  # a chunk repeats what was sampled for showing
                trace.points.append((at, value))

    @property
    def going(self) -> bool:
        """Whether the run's thread still works."""
        return self.over is None

    @property
    def confirmed_off(self) -> bool:
        """Whether everything was turned off, and seen to be."""
        return self.all_off is not None and self.all_off.confirmed

    @property
    def now(self) -> float:
        """The bench's time, as well as it can be told from here."""
        if self.ended is not None or self.prompt is not None:
            return self.progress.at
        return self.progress.at + self.pace * (time.monotonic() - self._moved_at)

    @property
    def step(self) -> StepStarted | None:
        """What is worked on."""
        return self.progress.step

    @property
    def to_come(self) -> tuple[Planned, ...]:
        """The steps that have not ended, in the order of the procedure."""
        done = {result.name for result in self.results}
        return tuple(planned for planned in self.plan if planned.step not in done)

    @property
    def fresh_notes(self) -> list[str]:
        """What was told during the last steps."""
        return [note.text for note in self.notes if len(self.results) - note.after <= NEWS]

    @property
    def failed(self) -> bool:
        """Whether there is something to find the cause of: the unit's, not the rig's."""
        return any(str(r.verdict) in ("fail", "conditional fail") for r in self.results)


def _planned(prepared: Prepared) -> tuple[Planned, ...]:
    return tuple(
        Planned(stage.title, step.step, step.minutes)
        for stage in prepared.plan.procedure.stages
        for step in each_step(stage.all_steps())
        if not isinstance(step, Repeat)
    )
