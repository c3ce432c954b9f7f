"""Facts of the unit in what people are asked: ``profile mains.voltage`` in a question becomes ``230 V``."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from typing import Any

from rig.plan.edges import StartByPerson
from rig.plan.procedure import Ask, Procedure, Repeat, Stage, Time
from rig.plan.profile import UnitProfile

_FACT = re.compile(r"\bprofile ([a-z][a-z0-9]*(?:-[a-z0-9]+)*\.[a-z][a-z0-9]*(?:-[a-z0-9]+)*)")


def facts_named(text: str) -> Iterator[str]:
    """The facts that a question names, by path."""
    return (found.group(1) for found in _FACT.finditer(text))


def spoken(procedure: Procedure, profile: UnitProfile | None) -> Procedure:
    """The procedure with its questions as people hear them. A fact that is not there stays as it is written."""
    if profile is None:
        return procedure
    stages = tuple(_stage(stage, profile) for stage in procedure.stages)
    return procedure.model_copy(update={"stages": stages})


def _stage(stage: Stage, profile: UnitProfile) -> Stage:
    parts = ("make_ready", "steps", "make_safe", "after_pause")
    return stage.model_copy(update={part: _steps(getattr(stage, part), profile) for part in parts})


def _steps(steps: Iterable[Any], profile: UnitProfile) -> tuple[Any, ...]:
    return tuple(_step(step, profile) for step in steps)


def _step(step: Any, profile: UnitProfile) -> Any:
    if isinstance(step, Repeat):
        inside = step.repeat.model_copy(update={"steps": _steps(step.repeat.steps, profile)})
        return step.model_copy(update={"repeat": inside})
    if isinstance(step, Time) and isinstance(step.start, StartByPerson):
        return step.model_copy(update={"start": _asked(step.start, profile)})
    return _asked(step, profile) if isinstance(step, Ask) else step


def _asked(asked: Any, profile: UnitProfile) -> Any:
    def fact(found: re.Match[str]) -> str:
        try:
            return str(profile.fact(found.group(1)))
        except KeyError:
            return found.group()

    return asked.model_copy(update={"ask": _FACT.sub(fact, asked.ask)})
