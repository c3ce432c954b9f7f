"""A procedure put together with a unit profile and a bench: what the engine runs. Only a proved plan is made."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from rig.errors import InputError
from rig.limits import Limit
from rig.plan.for_units import for_unit
from rig.plan.formula import Formula, parse
from rig.plan.load import Loaded, refusal
from rig.plan.plan_limits import limit_of, rule_of, why_not
from rig.plan.procedure import AnyStep, Ask, Compute, InnerStep, Judged, MeanwhileStep, Procedure, Repeat, Time
from rig.plan.profile import UnitProfile
from rig.plan.proof import prove
from rig.plan.spoken import spoken
from rig.plan.values import LimitRef, LimitText, PartRef, ProfileRef
from rig.plan.wiring import Bench
from rig.quantities import Quantity

OneStep = AnyStep | InnerStep | MeanwhileStep


@dataclass(frozen=True)
class Plan:
    """``profile`` is None where the procedure says ``needs-unit: no``. The procedure is without what is not for this
    unit."""

    procedure: Procedure
    profile: UnitProfile | None
    bench: Bench

    def limit(self, step: Judged | Ask) -> Limit | None:
        """The limit of a step in canonical units, or None where the step says why it has none."""
        written = step.limit
        if isinstance(written, LimitText):
            held = why_not(written.source, self.profile, of_profile=False)
            return limit_of(written, written.source, rule_of(self.procedure), held)
        if isinstance(written, LimitRef):
            profile = self._profile(f"the limit of {step.step}")
            found = profile.limits[written.profile]
            source = f"profile {profile.unit_profile}, {written.profile}: {found.source}"
            held = why_not(found.source, profile, of_profile=True)
            return limit_of(found, source, rule_of(profile, self.procedure), held)
        if isinstance(written, PartRef):
            part = self.bench.reference_parts[written.reference_part]
            held = why_not(part.source, self.profile, of_profile=False)
            source = f"bench {self.bench.bench}, {written.reference_part}: {part.source}"
            return limit_of(part, source, rule_of(self.procedure), held)
        return None

    def seconds(self, duration: Quantity | ProfileRef) -> float:
        """A duration in seconds, looked up in the profile where the procedure says so."""
        found = self.fact(duration.path) if isinstance(duration, ProfileRef) else duration
        return found.to("s")

    def formula(self, step: Compute) -> Formula:
        """The formula of a step."""
        return parse(step.compute)

    def fact(self, path: str) -> Quantity:
        """The quantity at ``group.name`` in the profile. Raises KeyError; TypeError where words stand there."""
        found = self._profile(path).fact(path)
        if not isinstance(found, Quantity):
            raise TypeError(f"{path} is words, not a quantity: {found}")
        return found

    def minutes(self) -> float:
        """The planned minutes of work. Steps under ``meanwhile`` cost nothing beyond the time they run in."""
        return sum(minutes_of(step) for stage in self.procedure.stages for step in stage.all_steps())

    def step_count(self) -> int:
        """How many steps give a result: repeats unrolled (a repeat itself gives none), ``meanwhile`` included."""
        return sum(_count(step) for stage in self.procedure.stages for step in stage.all_steps())

    def _profile(self, what: str) -> UnitProfile:
        if self.profile is None:
            raise KeyError(f"{what} needs a unit profile")
        return self.profile


def minutes_of(step: OneStep) -> float:
    """The planned minutes of one step with all that belongs to it."""
    if isinstance(step, Repeat):
        inner = sum(minutes_of(s) for s in step.repeat.steps)
        return max(step.minutes, step.repeat.times * inner)
    if isinstance(step, Time):
        return max(step.minutes, sum(s.minutes for s in step.meanwhile))
    return step.minutes


def _count(step: OneStep) -> int:
    if isinstance(step, Repeat):
        return step.repeat.times * sum(_count(s) for s in step.repeat.steps)
    return 1 + len(step.meanwhile) if isinstance(step, Time) else 1


def each_step(steps: Iterable[AnyStep | InnerStep]) -> Iterable[OneStep]:
    """Every step in the order of the file, those inside repeats and under ``meanwhile`` too, each once."""
    for step in steps:
        yield step
        if isinstance(step, Repeat):
            yield from each_step(step.repeat.steps)
        elif isinstance(step, Time):
            yield from step.meanwhile


def make_plan(procedure: Loaded, profile: Loaded | None, bench: Loaded) -> Plan:
    """Put the three together. Raises InputError with every fault that can be proved before power is applied."""
    if not isinstance(procedure.model, Procedure) or not isinstance(bench.model, Bench):
        raise InputError(f"expected a procedure and a bench, found a {procedure.kind} and a {bench.kind}")
    if profile is not None and not isinstance(profile.model, UnitProfile):
        raise InputError(f"expected a unit profile, found a {profile.kind}", culprit=profile.file)
    if procedure.model.needs_unit == "no":
        profile = None
    faults = prove(procedure, profile, bench)
    if faults:
        raise refusal(procedure.file, faults)
    unit = profile.model if profile is not None and isinstance(profile.model, UnitProfile) else None
    return Plan(spoken(for_unit(procedure.model, unit), unit), unit, bench.model)
