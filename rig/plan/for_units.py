"""Steps and stages that apply to some units only: a procedure without what is not for the unit at hand.

``for-units: {fill.valve: [AC coil]}``: every fact that is named must be one of its words in the unit's profile. A fact
that is missing there, or a number, is none of them. What is not for a unit is left out wholly: it gives no result, is
not counted, and steps that refer to it do not wait for it.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Any

from rig.plan.procedure import Procedure, Repeat, Stage, Step, Time
from rig.plan.profile import UnitProfile


def fits(words: Mapping[str, Sequence[str]], profile: UnitProfile | None) -> bool:
    """Whether a unit has these words in its profile; without a profile, only where none are asked for."""
    return all(_fact(path, profile) in some for path, some in words.items())


def applies(to: Step | Stage, profile: UnitProfile | None) -> bool:
    """Whether a step or a stage is for this unit; without a profile, only what is for every unit."""
    return fits(to.for_units, profile)


def _fact(path: str, profile: UnitProfile | None) -> str | None:
    try:
        found = None if profile is None else profile.fact(path)
    except KeyError:
        return None
    return found if isinstance(found, str) else None


def left_out(step: Step, profile: UnitProfile | None) -> bool:
    """Whether a step has no part in a run of this unit: not for it, or a repeat with nothing left to repeat."""
    if not applies(step, profile):
        return True
    return isinstance(step, Repeat) and all(left_out(inner, profile) for inner in step.repeat.steps)


def stage_left_out(stage: Stage, profile: UnitProfile | None) -> bool:
    """Whether a stage has no part: not for this unit, or with nothing left to work on."""
    return not applies(stage, profile) or all(left_out(step, profile) for step in stage.steps)


def for_unit(procedure: Procedure, profile: UnitProfile | None) -> Procedure:
    """The procedure as it is for one unit. Names of what is left out are gone from needs, after and when, too."""
    stages = [_stage(s, profile) for s in procedure.stages if not stage_left_out(s, profile)]
    kept = {name for stage in stages for name in _names(stage.all_steps())}
    gone = {name for stage in procedure.stages for name in _names(stage.all_steps())} - kept
    return procedure.model_copy(update={"stages": tuple(_forget_stage(s, gone) for s in stages)})


def step_names(procedure: Procedure, profile: UnitProfile | None) -> frozenset[str]:
    """The names of all steps that a procedure has for a unit, those inside others as well."""
    stages = for_unit(procedure, profile).stages
    return frozenset(name for stage in stages for name in _names(stage.all_steps()))


def _names(steps: Iterable[Any]) -> Iterator[str]:
    for step in steps:
        yield step.step
        yield from _names(_inside(step))


def _inside(step: Any) -> tuple[Any, ...]:
    if isinstance(step, Repeat):
        return step.repeat.steps
    return step.meanwhile if isinstance(step, Time) else ()


def _stage(stage: Stage, profile: UnitProfile | None) -> Stage:
    parts = {key: _kept(getattr(stage, key), profile) for key in ("make_ready", "steps", "make_safe")}
    return stage.model_copy(update=parts)


def _kept(steps: Iterable[Any], profile: UnitProfile | None) -> tuple[Any, ...]:
    return tuple(_with_inside(s, _kept(_inside(s), profile)) for s in steps if not left_out(s, profile))


def _with_inside(step: Any, inside: tuple[Any, ...]) -> Any:
    if isinstance(step, Repeat):
        return step.model_copy(update={"repeat": step.repeat.model_copy(update={"steps": inside})})
    return step.model_copy(update={"meanwhile": inside}) if isinstance(step, Time) else step


def _forget_stage(stage: Stage, gone: set[str]) -> Stage:
    parts: dict[str, Any] = {
        key: tuple(_forget(s, gone) for s in getattr(stage, key)) for key in ("make_ready", "steps", "make_safe")
    }
    return stage.model_copy(update={**parts, **_without(stage, gone)})


def _forget(step: Any, gone: set[str]) -> Any:
    inside = tuple(_forget(s, gone) for s in _inside(step))
    return _with_inside(step.model_copy(update=_without(step, gone)), inside)


def _without(of: Step | Stage, gone: set[str]) -> dict[str, Any]:
    names = {key: tuple(n for n in getattr(of, key) if n not in gone) for key in ("needs", "after")}
    return {**names, "when": tuple(w for w in of.conditions if w.step not in gone) or None}
