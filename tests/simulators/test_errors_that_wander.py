"""The slow errors of the simulated analog module: they move, and no further than the bench file states."""

from __future__ import annotations

from itertools import pairwise

import pytest

from rig.plan.load import load_named
from rig.plan.wiring import Bench
from simulators.instruments import ANALOG, Wander, stream


@pytest.mark.parametrize("channel", [4, 8])
def test_an_error_wanders_within_what_the_bench_states(channel: int) -> None:
    scale, widest = ANALOG[channel], 0.0
    for seed in range(50):
        error = Wander(stream(seed, "a test"), scale.drift)
        course = [error.at(10.0 * k) for k in range(720)]  # two hours
        widest = max(widest, max(course) - min(course))
        assert max(course) - min(course) <= scale.drift
        assert max(abs(b - a) for a, b in pairwise(course)) < 0.1 * scale.drift
    assert widest > 0.8 * scale.drift


@pytest.mark.parametrize("name", ["simulated", "simulated-rtu"])
def test_the_bench_states_what_the_instruments_do(name: str) -> None:
    bench = load_named("bench", name).model
    assert isinstance(bench, Bench)
    for quantity in bench.quantities.values():
        if quantity.instrument == "analog-1":
            scale, code = ANALOG[quantity.channel], "K" if quantity.unit == "Cel" else quantity.unit
            assert quantity.accuracy.to(code) == pytest.approx(scale.accuracy)
            assert (quantity.drift.to(code) if quantity.drift else 0.0) == pytest.approx(scale.drift)
