"""Readings of an instrument whose calibration does not count: kept, not evaluated; so is what is computed of them."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from dataclasses import replace
from typing import Any

from rig.bench.bench import LiveBench
from rig.events import Reading
from rig.limits import Verdict
from rig.plan.edges import QuantityEdge
from rig.plan.formula import parse
from rig.plan.hand_instruments import is_meant
from rig.plan.procedure import Ask, Compute, Measure, Record, Time, Waveform
from rig.run.outcome import Outcome


class Doubts:
    """What is not to be believed of the readings of one run. ``by_hand`` are the steps whose reading a person takes
    with an instrument of their own: the bench's papers say nothing of that one."""

    def __init__(self, bench: LiveBench, by_hand: Collection[str]) -> None:
        self._bench, self._by_hand = bench, frozenset(by_hand)
        self._doubted: dict[str, str] = {}  # the steps whose last reading does not count, and why

    def judged(self, step: Any, outcome: Outcome) -> Outcome:
        """The outcome of a step, without a verdict where its reading does not count."""
        self._doubted.pop(step.step, None)
        why = None if outcome.reading is None else self._why_not(step, outcome.reading)
        if why is None or outcome.verdict is Verdict.NO_READING:
            return outcome
        self._doubted[step.step] = why
        return replace(outcome, verdict=Verdict.NOT_EVALUATED, reason=why, probability=None)

    def _why_not(self, step: Any, reading: Reading) -> str | None:
        if isinstance(step, Compute):
            doubted = [name for name in parse(step.compute).names if name in self._doubted]
            return f"computed from {doubted[0]}: {self._doubted[doubted[0]]}" if doubted else None
        for instrument in self._instruments_of(step, reading):
            if instrument in self._bench.void:
                return f"the calibration of {instrument} does not count: it {self._bench.void[instrument]}"
        return None

    def _instruments_of(self, step: Any, reading: Reading) -> Iterator[str]:
        """The instruments that a step's reading comes from."""
        names: list[str] = []
        if isinstance(step, Ask):
            listed = self._bench.wiring.hand_instruments.items()
            yield from (name for name, spec in listed if is_meant(reading.instrument, name, spec.serial))
        if step.step in self._by_hand:
            return
        if isinstance(step, Measure):
            names = [step.at]
        elif isinstance(step, Waveform):
            names = [step.waveform]
        elif isinstance(step, Record):
            names = list(step.record)
        elif isinstance(step, Time):  # the sensor decides when a quantity is reached; a contact has no scale
            names = [e.quantity for e in (step.time.from_, step.time.until) if isinstance(e, QuantityEdge)]
        wiring = self._bench.wiring
        for name in names:
            if name in wiring.quantities:
                yield wiring.quantities[name].instrument
            if name in wiring.test_points:
                yield wiring.test_points[name].meter
