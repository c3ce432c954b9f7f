"""Does the stated interval cover the truth, and does the rule keep its risk? On the simulated instruments' own errors.

The long form, 10,000 readings and more of each kind: RIG_READINGS=12000 pytest tests/judgement/test_coverage.py
"""

from __future__ import annotations

import math
import os
import random
from collections.abc import Callable
from datetime import date

import pytest

from rig.bench.meter_path import MeterReading
from rig.distributions import coverage_factor
from rig.events import Reading
from rig.limits import Limit, Rule, Verdict, judge
from rig.plan.load import load_named
from rig.plan.stated import stated_quantity, statement_of
from rig.plan.wiring import Bench
from rig.run.edges import Bracket
from rig.run.figures import figure
from rig.run.readings import from_meter, from_quantity, make_reading
from rig.run.timing import clock_line
from rig.uncertainty import Line, line, scatter
from simulators.instruments import ANALOG, AnalogInput, MeterErrors

READINGS = int(os.environ.get("RIG_READINGS", "600"))
FIRST = int(os.environ.get("RIG_SEED", "0"))  # other instruments and other values with each
_bench = load_named("bench", "simulated").model
assert isinstance(_bench, Bench)
BENCH = _bench
TODAY = date(2026, 11, 26)


def meter(function: str, sees: str, full: float, shunt: float | None = None) -> Callable[[int, float], Reading]:
    """A reading of a true value by the simulated meter: three readings, averaged."""
    asked = {"volts-dc": "DC volts", "ohms-4w": "resistance four-wire"}[sees]
    statement = statement_of(BENCH, "meter-1", asked, full, TODAY)
    assert statement is not None

    def read(seed: int, true: float) -> Reading:
        errors, exact = MeterErrors(seed), random.Random(f"shunt {seed}")
        made = 1.0 if shunt is None else shunt * (1 + exact.uniform(-1e-3, 1e-3))
        shown = tuple(errors.shown(sees, full, true * made) for _ in range(3))
        unit = "V" if sees == "volts-dc" else "Ohm"
        return from_meter(MeterReading(shown, unit, full, statement, "", shunt, 1e-3 if shunt else 0.0))

    return read


def quantity(name: str) -> Callable[[int, float], Reading]:
    """A reading of a true value by a channel of the simulated analog module: five readings, averaged."""
    spec = BENCH.quantities[name]
    scale = ANALOG[spec.channel]

    def read(seed: int, true: float) -> Reading:
        channel = AnalogInput(spec.channel, scale, seed)
        counts = [channel.counts(true) for _ in range(5)]
        (low, high), (start, end) = scale.raw, scale.means
        values = [start + (n - low) * (end - start) / (high - low) for n in counts]
        return from_quantity(name, BENCH, values, counts)

    return read


def seconds(seed: int, true: float) -> Reading:
    """A time between two edges, each seen by a poll every 100 ms with a moment of its own, on a clock that is off."""
    source = random.Random(f"clock {seed}")
    begun = source.uniform(0, 1)
    rate = 1 + source.uniform(-1e-4, 1e-4)

    def edge(at: float) -> Bracket:
        phase = source.uniform(0, 0.1)
        before = math.floor((at - phase) / 0.1) * 0.1 + phase
        return Bracket(before * rate, (before + 0.1) * rate)

    first, last = edge(begun), edge(begun + true)
    value = last.middle - first.middle
    lines = [line("start edge", first.half_width), line("end edge", last.half_width), clock_line(value)]
    return make_reading(value, "s", lines)


def weighing(seed: int, true: float) -> Reading:
    """What runs into the jug in ten minutes, by its load cell, whose error wanders meanwhile."""
    spec = BENCH.quantities["jug-mass"]
    channel = AnalogInput(spec.channel, ANALOG[spec.channel], seed)
    begun = random.Random(f"weighing {seed}").uniform(0.0, 5000.0)
    times = [5.0 * k for k in range(121)]
    values = [spec.electrical(channel.counts(300.0 + true * at, begun + at)) for at in times]
    value, code, lines, _ = figure("slope", stated_quantity(BENCH, "jug-mass"), "g", times, values)
    return make_reading(value, code, lines)


KINDS: dict[str, tuple[Callable[[int, float], Reading], float, float, str]] = {
    "volts": (meter("DC volts", "volts-dc", 100.0), 10.0, 30.0, "V"),
    "ohms": (meter("resistance", "ohms-4w", 100.0), 20.0, 80.0, "Ohm"),
    "amps by a shunt": (meter("DC amps", "volts-dc", 0.1, 0.1), 0.2, 0.9, "A"),
    "amps by a transformer": (quantity("heater-current"), 4.0, 9.0, "A"),
    "seconds": (seconds, 40.0, 200.0, "s"),
    "kelvin": (quantity("chamber-temperature"), 20.0, 138.0, "Cel"),
    "pascals": (quantity("chamber-pressure"), 90e3, 330e3, "Pa"),
    "grams in a second": (weighing, 0.0005, 0.02, "g/s"),
}


@pytest.mark.parametrize("kind", KINDS)
def test_the_stated_interval_covers_the_truth(kind: str) -> None:
    """U of 95 % and more: at least 94.5 % of the true values lie within, every instrument made anew by its seed."""
    read, low, high, _ = KINDS[kind]
    source, inside = random.Random(f"{kind} {FIRST}"), 0
    for seed in range(FIRST, FIRST + READINGS):
        true = source.uniform(low, high)
        found = read(seed, true)
        inside += abs(found.value - true) <= coverage_factor(found.dof) * found.u
    assert inside >= 0.945 * READINGS, inside / READINGS


@pytest.mark.parametrize("count", [3, 5, 10])
def test_where_a_normal_part_dominates_the_interval_is_no_wider_than_it_says(count: int) -> None:
    """Scatter alone: Student's t makes few readings cover 95.45 %, not less and not more than 96 %."""
    source, inside, n = random.Random(f"{count} {FIRST}"), 0, max(READINGS, 12_000)
    for _ in range(n):
        values = [source.gauss(5.0, 0.01) for _ in range(count)]
        lines = [scatter(values), Line("resolution", 1e-5)]
        found = make_reading(math.fsum(values) / count, "V", lines)
        inside += abs(found.value - 5.0) <= coverage_factor(found.dof) * found.u
    assert 0.945 <= inside / n <= 0.9605, inside / n


@pytest.mark.parametrize("kind", KINDS)
def test_false_passes_stay_under_the_risk_of_the_rule(kind: str) -> None:
    """Units placed just beyond a limit, within U of it: with w = U a pass is wrong in less than 2.5 %; the bound for
    what was counted is at 95 % confidence (exact binomial, its normal approximation for many)."""
    read, low, high, unit = KINDS[kind]
    source, wrong = random.Random(f"{kind} limit {FIRST}"), 0
    for seed in range(FIRST, FIRST + READINGS):
        edge = source.uniform(low, high)
        u = read(seed, edge).u
        found = read(seed + 1_000_000, edge + source.uniform(0.0, 2.0) * u)
        judged = judge(found.value, found.u, Limit(None, edge, unit, "a test"), found.dof)
        wrong += judged.verdict is Verdict.PASS
    share = wrong / READINGS
    assert share + 1.645 * math.sqrt(max(share, 1 / READINGS) / READINGS) <= 0.025 + 0.01 * (READINGS < 2000)


def test_simple_acceptance_is_wrong_more_often() -> None:
    """The same placed readings without a guard band: the test above can fail."""
    read, low, high, unit = KINDS["kelvin"]
    source, wrong = random.Random("simple"), 0
    for seed in range(600):
        edge = source.uniform(low, high)
        found = read(seed, edge + 0.2 * read(seed, edge).u)
        limit = Limit(None, edge, unit, "a test", rule=Rule(0.0, 2))
        wrong += judge(found.value, found.u, limit, found.dof).verdict is Verdict.PASS
    assert wrong > 0.1 * 600
