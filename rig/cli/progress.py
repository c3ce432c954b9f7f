"""How far a run has come, from its events; the plan adds how long each step was meant to take."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from rig.events import Event, Prompted, RunStarted, Sampled, StepEnded, StepStarted

if TYPE_CHECKING:
    from rig.plan.plan import Plan


@dataclass(frozen=True)
class PlanFacts:
    """What a plan says of its steps, by name: planned minutes, and what a step waits for."""

    minutes: Mapping[str, float] = field(default_factory=dict)
    waits_for: Mapping[str, str] = field(default_factory=dict)


def facts_of(plan: Plan) -> PlanFacts:
    """The facts of a plan. Steps beside a timing have no minutes of their own."""
    from rig.plan.plan import each_step, minutes_of
    from rig.plan.procedure import Repeat, Time

    minutes: dict[str, float] = {}
    waits_for: dict[str, str] = {}
    for stage in plan.procedure.stages:
        for step in each_step(stage.all_steps()):
            if isinstance(step, Repeat):
                continue
            minutes.setdefault(step.step, minutes_of(step))
            if isinstance(step, Time):
                waits_for[step.step] = f"{_edge(step.time.from_)}, then {_edge(step.time.until)}"
                minutes.update({beside.step: 0.0 for beside in step.meanwhile})
    return PlanFacts(minutes, waits_for)


def _edge(edge: Any) -> str:
    """An edge in a few words."""
    what = next(getattr(edge, kind) for kind in ("input", "quantity", "output") if hasattr(edge, kind))
    if hasattr(edge, "is_"):
        return f"{what} {edge.is_}"
    return f"{what} up to {edge.reaches}" if edge.reaches is not None else f"{what} down to {edge.falls_to}"


class Progress:
    """What is going on now. ``at`` is the bench's time of the latest event, in seconds."""

    def __init__(self, facts: PlanFacts) -> None:
        self.at = 0.0
        self.done = 0
        self.total = 0
        self.sampled: Sampled | None = None
        self.asking = False
        self.facts = facts
        self._planned = 0.0
        self._minutes_done = 0.0
        self._running: dict[str, StepStarted] = {}

    def take(self, event: Event) -> None:
        """One event."""
        self.at = max(self.at, event.at)
        if isinstance(event, Sampled):
            self.sampled = event
        elif isinstance(event, Prompted):
            self.asking = True
        elif isinstance(event, StepStarted):
            self._running[event.step] = event
        elif isinstance(event, StepEnded):
            self._ended(event)
        elif isinstance(event, RunStarted):
            self.total, self._planned = event.steps, event.minutes
        # a stage that was paused begins anew: there is more to do than was planned
        self.total = max(self.total, self.done + bool(self._running))
        if not isinstance(event, Prompted | Sampled):
            self.asking = False

    def _ended(self, event: StepEnded) -> None:
        name = event.result.name
        started = self._running.pop(name, None)
        self.done += 1
        self._minutes_done += self.facts.minutes.get(name, started.minutes if started is not None else 0.0)
        if self.sampled is not None and self.sampled.step == name:
            self.sampled = None

    @property
    def step(self) -> StepStarted | None:
        """The step that is worked on; of several the one that began first."""
        return next(iter(self._running.values()), None)

    @property
    def running(self) -> frozenset[str]:
        """The names of all steps that are worked on: several, where some run beside a timing."""
        return frozenset(self._running)

    @property
    def waits_for(self) -> str:
        """What the step waits for, or does."""
        if self.asking:
            return "an answer"
        return "" if self.step is None else self.facts.waits_for.get(self.step.step, self.step.doing)

    def minutes_left(self, now: float) -> float:
        """Planned minutes that are left at ``now`` (bench time, s)."""
        left = self._planned - self._minutes_done
        if self.step is not None:
            planned = self.facts.minutes.get(self.step.step, self.step.minutes)
            left -= min(planned, max(0.0, now - self.step.at) / 60.0)
        return max(0.0, left)
