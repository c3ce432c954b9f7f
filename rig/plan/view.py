"""The three files of a plan side by side, every step with its place: what the rules of the proof look at."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Iterator
from dataclasses import dataclass, field

from rig.errors import Fault
from rig.plan.answers import NumberAnswer
from rig.plan.edges import OutputEdge, StartBySwitch
from rig.plan.for_units import left_out, stage_left_out
from rig.plan.load import Loaded, Loc
from rig.plan.messages import listed, nearest
from rig.plan.procedure import (
    CONTACT_FIGURES,
    AnyStep,
    Ask,
    Compute,
    Drive,
    InnerStep,
    MeanwhileStep,
    Measure,
    Procedure,
    Record,
    Repeat,
    Stage,
    Step,
    Switch,
    Time,
    Waveform,
)
from rig.plan.profile import UnitProfile
from rig.plan.wiring import Bench
from rig.quantities import UNITS, unit

OneStep = AnyStep | InnerStep | MeanwhileStep

# The quantity that a reading of each function has.
FUNCTION_QUANTITY = {
    "DC volts": "voltage",
    "AC volts": "voltage",
    "DC amps": "current",
    "AC amps": "current",
    "resistance": "resistance",
    "resistance four-wire": "resistance",
    "continuity": "resistance",
    "diode": "voltage",
    "frequency": "frequency",
    "temperature": "temperature",
    "pressure": "pressure",
    "power": "power",
    "energy": "energy",
    "mass": "mass",
}
# The quantity of a slope; there is no unit for the others.
SLOPE_QUANTITY = {"mass": "mass flow", "temperature": "temperature rate", "pressure": "pressure rate"}


def figure_quantity(figure: str, of: str | None) -> str | None:
    """The quantity of a figure of a trace of ``of``; None where there is no unit for it."""
    if figure == "slope":
        return SLOPE_QUANTITY.get(of or "")
    if figure == "leak":
        return "pressure rate" if of == "pressure" else None
    if figure == "lethality":
        return "time" if of == "temperature" else None
    if figure == "onset":
        return "time"
    if figure in CONTACT_FIGURES:
        return None  # those are of contacts
    return "temperature difference" if figure == "overshoot" and of == "temperature" else of


def waveform_quantity(step: Waveform, offers: Collection[str]) -> str | None:
    """The quantity of a waveform's one number at a point that offers these functions; None where none fits."""
    if step.judge == "inrush to holding":
        return "share" if {"AC amps", "AC volts"} & {*offers} else None
    of_the_rise = {"time constant": "time", "inductance growth": "number"}
    if step.judge in of_the_rise:
        return of_the_rise[step.judge] if {"DC amps", "DC volts"} & {*offers} else None
    return "current" if "DC amps" in offers else "voltage" if "DC volts" in offers else None


def example(quantity: str) -> str:
    """A value of a quantity in its canonical unit, for messages."""
    return f"'10 {next(u.code for u in UNITS if u.quantity == quantity)}'"


@dataclass(frozen=True)
class Placed:
    """A step, its path in the file, its stage, and the repeat or time step that it stands in."""

    step: OneStep
    loc: tuple[str | int, ...]
    stage: int
    part: str  # make-ready, steps or make-safe
    order: int  # in the order of the file
    within: Placed | None = None


def around(placed: Placed) -> list[Placed]:
    """The steps that this one stands in: they have begun and not ended."""
    found: list[Placed] = []
    outer = placed.within
    while outer is not None:
        found.append(outer)
        outer = outer.within
    return found


@dataclass(frozen=True)
class View:
    """A procedure with its profile (None where it needs none, or none was given) and its bench.

    ``steps`` are those that are for this unit; places are those of the whole file."""

    procedure_file: Loaded
    procedure: Procedure
    profile_file: Loaded | None
    profile: UnitProfile | None
    bench_file: Loaded
    bench: Bench
    steps: tuple[Placed, ...] = field(default=())
    by_name: dict[str, Placed] = field(default_factory=dict)
    not_for_it: frozenset[str] = frozenset()  # names of steps that are for other units only

    def stage_of(self, placed: Placed) -> Stage:
        """The stage that a step stands in."""
        return self.procedure.stages[placed.stage]

    def drive_of(self, placed: Placed) -> Drive:
        """How the unit is driven when a step is done: making safe is dead, whatever the stage was."""
        return "dead" if placed.part == "make-safe" else self.stage_of(placed).drive

    def stages(self) -> list[tuple[int, Stage]]:
        """The stages that are for this unit, with their number in the file."""
        kept = {placed.stage for placed in self.steps}
        return [(n, stage) for n, stage in enumerate(self.procedure.stages) if n in kept]

    def fault(self, placed: Placed, tail: Loc, message: str) -> Fault:
        """A fault at a part of a step."""
        return self.procedure_file.fault((*placed.loc, *tail), message)

    def precedes(self, name: str, placed: Placed) -> bool:
        """Whether a step of that name has been carried out, or left out, when this one begins."""
        first = self.by_name.get(name)
        return first is not None and first.order < placed.order and first not in around(placed)

    def earlier(self, placed: Placed) -> list[str]:
        """The names of all steps that precede this one, in order."""
        return [name for name in self.by_name if self.precedes(name, placed)]

    def offers(self, place: str) -> tuple[str, ...]:
        """What a test point or a quantity measures; nothing where the bench has none of that name."""
        point, quantity = self.bench.test_points.get(place), self.bench.quantities.get(place)
        return point.measures if point is not None else (quantity.measures,) if quantity is not None else ()

    def reading(self, step: OneStep) -> str | None:
        """The quantity of a step's reading; None for a step without one, or where its place does not fit."""
        if isinstance(step, Measure):
            return FUNCTION_QUANTITY[step.measure] if step.measure in self.offers(step.at) else None
        if isinstance(step, Time):
            return "time"
        if isinstance(step, Compute):
            return unit(step.in_).quantity
        if isinstance(step, Ask):
            return unit(step.answer.number_in).quantity if isinstance(step.answer, NumberAnswer) else None
        if isinstance(step, Waveform):
            return waveform_quantity(step, self.offers(step.waveform))
        if isinstance(step, Record) and step.judged in self.bench.inputs:
            return "time" if step.figure in CONTACT_FIGURES else None
        if isinstance(step, Record):
            judged = self.bench.quantities.get(step.judged)
            quantity = None if judged is None else FUNCTION_QUANTITY[judged.measures]
            return figure_quantity(step.figure, quantity)
        return None


def make_view(procedure: Loaded, profile: Loaded | None, bench: Loaded) -> View:
    """Lay the files side by side. Raises TypeError when a file is of another kind than its place asks for."""
    model, unit_profile, wiring = procedure.model, None if profile is None else profile.model, bench.model
    if not isinstance(model, Procedure) or not isinstance(wiring, Bench):
        raise TypeError(f"expected a procedure and a bench, found {procedure.kind} and {bench.kind}")
    if unit_profile is not None and not isinstance(unit_profile, UnitProfile):
        raise TypeError("expected a unit profile")
    everything = tuple(_placed(model, lambda part: True))
    steps = tuple(_placed(model, lambda part: _is_for(part, unit_profile)))
    by_name: dict[str, Placed] = {}
    for placed in steps:
        by_name.setdefault(placed.step.step, placed)
    others = frozenset(placed.step.step for placed in everything) - by_name.keys()
    return View(procedure, model, profile, unit_profile, bench, wiring, steps, by_name, others)


def _is_for(part: Step | Stage, profile: UnitProfile | None) -> bool:
    return not (stage_left_out(part, profile) if isinstance(part, Stage) else left_out(part, profile))


def _placed(procedure: Procedure, keep: Callable[[Step | Stage], bool]) -> Iterator[Placed]:
    """Every step that is kept, with its place in the file."""
    order = 0
    for number, stage in enumerate(procedure.stages):
        if not keep(stage):
            continue
        for part, steps in (("make-ready", stage.make_ready), ("steps", stage.steps), ("make-safe", stage.make_safe)):
            for index, step in enumerate(steps):
                if not keep(step):
                    continue
                outer = Placed(step, ("stages", number, part, index), number, part, order)
                order += 1
                yield outer
                inner, path = _inside(step)
                for at, one in enumerate(inner):
                    if not keep(one):
                        continue
                    placed = Placed(one, (*outer.loc, *path, at), number, part, order, outer)
                    order += 1
                    yield placed
                    below, path_below = _inside(one)
                    for deep, last in enumerate(below):  # a time step in a repeat, with its own meanwhile
                        if not keep(last):
                            continue
                        yield Placed(last, (*placed.loc, *path_below, deep), number, part, order, placed)
                        order += 1


def _inside(step: OneStep) -> tuple[Iterable[OneStep], tuple[str, ...]]:
    if isinstance(step, Repeat):
        return step.repeat.steps, ("repeat", "steps")
    if isinstance(step, Time):
        return step.meanwhile, ("meanwhile",)
    return (), ()


@dataclass(frozen=True)
class TurnOn:
    """An output that a step turns on, and where it says so. ``stays``: beyond the step, to the end of the stage."""

    output: str
    tail: tuple[str | int, ...]
    stays: bool


def turned_on(step: OneStep, bench: Bench) -> list[TurnOn]:
    """Every output that one step turns on, by name or because the test point that it reads needs it."""
    found: list[TurnOn] = []
    if isinstance(step, Switch):
        found += [TurnOn(o, ("switch", "turn-on", i), True) for i, o in enumerate(step.switch.turn_on)]
    if isinstance(step, Time) and isinstance(step.start, StartBySwitch):
        found += [TurnOn(o, ("start", "turn-on", i), True) for i, o in enumerate(step.start.turn_on)]
    if isinstance(step, (Measure, Record, Waveform)):
        found += [TurnOn(o, ("energize", i), False) for i, o in enumerate(step.energize)]
    at = step.at if isinstance(step, Measure) else step.waveform if isinstance(step, Waveform) else ""
    point = bench.test_points.get(at)
    if point is not None:
        tail = ("at",) if isinstance(step, Measure) else ("waveform",)
        needed = (*point.needs_on, *(() if point.bus is None else (point.bus,)))
        found += [TurnOn(o, tail, False) for o in needed]
    return [t for t in found if t.output in bench.outputs]


def named_outputs(step: OneStep) -> Iterator[tuple[str, tuple[str | int, ...]]]:
    """Every output that a step names, and where."""
    if isinstance(step, Switch):
        for key, outputs in (("turn-off", step.switch.turn_off), ("turn-on", step.switch.turn_on)):
            yield from ((o, ("switch", key, i)) for i, o in enumerate(outputs))
    if isinstance(step, (Measure, Record, Waveform)):
        yield from ((o, ("energize", i)) for i, o in enumerate(step.energize))
    if isinstance(step, Time):
        if isinstance(step.start, StartBySwitch):
            yield from ((o, ("start", "turn-on", i)) for i, o in enumerate(step.start.turn_on))
        for key, edge in (("from", step.time.from_), ("until", step.time.until)):
            if isinstance(edge, OutputEdge):
                yield edge.output, ("time", key, "output")


def unknown(what: str, name: str, known: Iterable[str]) -> str:
    """The sentence for a name that is not there."""
    words = list(known)
    return f"no {what} is called '{name}'{nearest(name, words)}; known: {listed(words) or 'none'}"


class BenchView:
    """A bench file and its model."""

    def __init__(self, loaded: Loaded, bench: Bench) -> None:
        self.loaded, self.bench = loaded, bench
        self.fault = loaded.fault

    def channels(self) -> Iterator[tuple[str, str, tuple[str, ...], str, int]]:
        """Every channel in use: section, name, the path to what uses it, instrument, channel number."""
        bench = self.bench
        for section, specs in (("outputs", bench.outputs), ("inputs", bench.inputs), ("quantities", bench.quantities)):
            for name, spec in specs.items():
                yield section, name, (section, name), spec.instrument, spec.channel
        for name, point in bench.test_points.items():
            select = point.select
            if select is None:
                continue
            yield "test-points", name, ("test-points", name, "select"), select.instrument, select.channel
