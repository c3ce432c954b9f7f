"""What the developer's page shows: the faults of the simulated unit, what was on the wire, the plan with its checks."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass

from rich.text import Text

from rig.cli.looks import Looks
from rig.cli.rows import cut
from rig.plan.visible import visible
from rig.screen import palette
from rig.screen.actions import act
from rig.screen.bench_text import heading
from rig.screen.tape import OnWire
from rig.screen.words import Words
from rig.shown.numbers import limit_text, shown_limit

STEPS = 4  # degrees of a severity between out and wholly in
BAR = 4


@dataclass(frozen=True)
class SimulatedFault:
    """A fault that the simulated unit can have."""

    name: str
    line: str


def faults_for(unit: str) -> list[SimulatedFault]:
    """The faults that a unit of this type can have."""
    from rig.cli.station import station_module

    found = station_module().list_faults()
    return [SimulatedFault(f["name"], f["line"]) for f in found if unit in f["units"]]


@dataclass(frozen=True)
class WireFault:
    """A way in which the wire of a simulated instrument can lie."""

    kind: str
    instrument: str
    line: str


def wire_faults() -> list[WireFault]:
    """Every way of every instrument."""
    from rig.cli.station import station_module

    module = station_module()
    sorts: dict[str, str] = module.list_instruments()
    kinds = module.list_wire_faults()
    return [WireFault(k["name"], name, k["line"]) for name, sort in sorts.items() for k in kinds
            if sort in k["instruments"]]  # fmt: skip


def wire_fault_lines(
    faults: Iterable[WireFault], put_in: Collection[tuple[str, str]], looks: Looks, words: Words, width: int
) -> list[tuple[str, Text]]:
    """A line a fault of the wire: whether it is in, and what the wire does then."""
    lines = []
    for n, fault in enumerate(faults):
        there = (fault.kind, fault.instrument) in put_in
        sign = f"{looks.pick('█', '#')} {words('side.in')}" if there else f"{looks.pick('·', '.')} {words('side.out')}"
        line = Text(f"{sign:<6}{fault.instrument:<10}{fault.kind:<24}{visible(fault.line, 200)}")
        line.stylize(palette.HEAD if there else palette.QUIET, 0, 6)
        lines.append((str(n), cut(line, max(20, width - 2), looks)))
    return lines


def fault_lines(
    faults: Iterable[SimulatedFault], severities: Mapping[str, float], looks: Looks, width: int
) -> list[tuple[str, Text]]:
    """A line a fault: how much of it is in, as a bar and a number, and what is wrong then."""
    lines = []
    for fault in faults:
        severity = severities.get(fault.name, 0.0)
        full = round(severity * BAR)
        bar = looks.pick("█", "#") * full + looks.pick("·", ".") * (BAR - full)
        line = Text(f"{bar} {severity:4.2f}  {fault.name:<24}{visible(fault.line, 200)}")
        line.stylize(palette.HEAD if severity else palette.QUIET, 0, 12)
        lines.append((fault.name, cut(line, max(20, width - 2), looks)))
    return lines


def wire_lines(exchanges: Sequence[OnWire], words: Words, looks: Looks, width: int, most: int) -> list[Text]:
    """The latest exchanges: when, who, the question, the answer, the microseconds between them."""
    lines = [Text(f"{words('side.at'):>10} {words('side.us'):>7}  {words('side.instrument'):<10} "
                  f"{words('side.exchange')}", palette.HEAD)]  # fmt: skip
    arrow = looks.pick("→", "->")
    for one in exchanges[-max(1, most - 1) :]:
        text = f"{one.us / 1e6:10.3f} {one.took:7d}  {visible(one.instrument, 10):<10} "
        lines.append(cut(Text(f"{text}{visible(one.question, 200)} {arrow} {visible(one.answer, 200)}"), width, looks))
    return lines


def plan_lines(procedure: str, unit: str, bench: str, words: Words, looks: Looks, width: int) -> list[Text]:
    """What the proof before power says, then every step with what it needs and its limit. Raises RigError."""
    from rig.plan.load import load_named
    from rig.plan.plan import make_plan
    from rig.plan.procedure import Ask, Judged, Repeat

    checked = act(["check", procedure, f"--bench={bench}", f"--unit={unit}"])
    lines = [heading(words("side.proof"), looks, width), *(Text(visible(line, 400)) for line in checked.lines)]
    if checked.code != 0:
        return lines
    plan = make_plan(load_named("procedure", procedure), load_named("unit-profile", unit), load_named("bench", bench))
    for stage in plan.procedure.stages:
        lines.append(heading(f"{visible(stage.title, 60)}: {stage.drive}", looks, width))
        for step in stage.all_steps():
            inner = step.repeat.steps if isinstance(step, Repeat) else [step]
            for one in inner:
                limit = plan.limit(one) if isinstance(one, Judged | Ask) and one.limit is not None else None
                allowed = "" if limit is None else limit_text(shown_limit(limit), looks.fancy)
                needs = f"  {words('side.needs')} {', '.join(one.needs)}" if one.needs else ""
                kind = type(one).__name__.lower()
                lines.append(cut(Text(f"  {one.step:<26}{kind:<10}{allowed:<20}{needs}"), width, looks))
    return lines
