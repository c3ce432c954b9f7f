"""Which instruments of the bench a reading comes from, by name and serial number."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from rig.bench.bench import LiveBench
from rig.bench.outputs import READ_BACK
from rig.events import Reading
from rig.plan.edges import InputEdge, OutputEdge, QuantityEdge
from rig.plan.hand_instruments import NOT_NAMED
from rig.plan.procedure import Ask, Measure, Record, Time, Waveform
from rig.plan.wiring import Bench
from rig.run.typed import parted


def read_by(step: Any, wiring: Bench) -> list[str]:
    """The instruments that a step reads, once each; none for a step that has no reading of its own."""
    if isinstance(step, Time):
        edges = (step.time.from_, step.time.until)
        return list(dict.fromkeys(_of_edge(edge, wiring) for edge in edges))
    places = [step.at] if isinstance(step, Measure) else [step.waveform] if isinstance(step, Waveform) else []
    if isinstance(step, Record):
        places = list(step.record)
    channels = wiring.quantities | wiring.inputs
    read = [channels[n].instrument for n in places if n in channels]
    return list(dict.fromkeys([*read, *(wiring.test_points[n].meter for n in places if n in wiring.test_points)]))


def _of_edge(edge: InputEdge | OutputEdge | QuantityEdge, wiring: Bench) -> str:
    if isinstance(edge, QuantityEdge):
        return wiring.quantities[edge.quantity].instrument
    if isinstance(edge, InputEdge):
        return wiring.inputs[edge.input].instrument
    output = wiring.outputs[edge.output]
    return output.instrument if output.feedback == READ_BACK else wiring.inputs[output.feedback].instrument


def read_with(step: Ask, said: str, wiring: Bench) -> str:
    """What a person read a number with: what they said, else what the question names, where the bench has it."""
    named_by_person = parted(said)[1]
    if named_by_person:
        return named_by_person
    spec = wiring.hand_instruments.get(step.with_ or "")
    return NOT_NAMED if spec is None else f"{step.with_} ({spec.serial})"


def named(instruments: Iterable[str], bench: LiveBench) -> str:
    """``meter-1 (SIM-M1), inputs-1 (SIM-I1)``; one whose calibration does not count is in doubt."""
    return ", ".join(_named(name, bench) for name in instruments)


def _named(name: str, bench: LiveBench) -> str:
    facts = [bench.wiring.instruments[name].serial or "", "in doubt" if name in bench.void else ""]
    known = "; ".join(fact for fact in facts if fact)
    return f"{name} ({known})" if known else name


def named_together(readings: Iterable[Reading]) -> str:
    """The instruments of a value that was computed from these readings."""
    names = [name for reading in readings for name in reading.instrument.split(", ") if name]
    return ", ".join(dict.fromkeys(names))
