"""What a fast record tells of a plunger: the dip of a DC coil, inrush to holding of an AC coil."""

from __future__ import annotations

import math
import random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rig.bench.meter_path import MeterReading
from rig.judgement.accuracy import Statement, Term
from rig.run.waveforms import figure_of
from rig.waveforms.alternating import departure as inrush_to_holding
from rig.waveforms.coil import dip, noise


def coil(seats: bool, noise: float = 0.0, after: float = 0.02) -> list[float]:
    """A coil's current switched on at ``after`` s, 5 kHz: exponential rise, and a notch where a plunger seats."""
    source = random.Random(4)
    values = []
    for n in range(1500):
        t = n / 5000 - after
        value = 0.0 if t < 0 else 0.417 * (1 - math.exp(-t / 0.008))
        if seats and 0.007 < t < 0.016:
            value -= 0.11 * math.sin(math.pi * (t - 0.007) / 0.009)
        values.append(value + source.gauss(0, noise))
    return values


def test_a_seating_plunger_dips_and_a_stuck_one_does_not() -> None:
    assert dip(coil(True)) > 0.03
    assert dip(coil(False)) == 0.0
    assert dip([0.0] * 100) == 0.0


def test_noise_and_single_wild_samples_are_no_dip() -> None:
    assert dip(coil(False, noise=1e-4)) < 2e-3
    wild = coil(False)
    wild[700] = 0.0
    assert dip(wild) == 0.0


def test_switching_off_is_no_dip() -> None:
    assert dip([*coil(False), *([0.0] * 200)]) == 0.0


@given(st.lists(st.floats(-1, 1), min_size=1, max_size=60), st.floats(0.1, 3))
def test_a_dip_scales_and_is_never_negative(values: list[float], factor: float) -> None:
    deep = dip(values)
    assert deep >= 0
    assert dip([factor * v for v in values]) == pytest.approx(factor * deep, abs=1e-9)


# an AC coil


def alternating(seats: float | None, phase: float, hiss: float = 0.0, volts: float = 34.0) -> list[float]:
    """Currents in A of a 24 V 50 Hz coil switched on at 20 ms, 5 kHz, 300 ms, by small steps of its circuit's own
    equation: 12 Ohm, 0.08 H with the gap open, 0.18 H from ``seats`` s after switching on."""
    source = random.Random(7)
    values, flux, fine = [], 0.0, 20
    for n in range(1500):
        for k in range(fine):
            t = (n + k / fine) / 5000 - 0.02
            henry = 0.18 if seats is not None and t >= seats else 0.08
            if t >= 0:
                flux += (volts * math.sin(2 * math.pi * 50 * t + phase) - 12.0 * flux / henry) / 5000 / fine
        values.append(flux / henry + source.gauss(0, hiss))
    return values


STATED = Statement("a meter", (Term("share of reading", 5e-5, 0.0, ""), Term("share of range", 0.0, 1e-5, "")))


def change(values: list[float]) -> tuple[float, float]:
    said = MeterReading(tuple(0.1 * v for v in values), "V", 1.0, STATED, "", 0.1, 1e-3)
    value, code, lines = figure_of("inrush to holding", said, 1 / 5000, 0.02)
    assert code == "%"
    return value, sum(each.u**2 for each in lines) ** 0.5


PHASES = [0.1 * math.pi * k for k in range(10)]


@pytest.mark.parametrize("seats", (0.006, 0.008, 0.015, 0.03))
def test_a_plunger_that_moves_shows_at_every_moment_of_switching(seats: float) -> None:
    for phase in PHASES:
        assert change(alternating(seats, phase))[0] > 8.0


@pytest.mark.parametrize("henry_is_open", (True, False))
def test_one_that_does_not_move_leaves_next_to_nothing(henry_is_open: bool) -> None:
    """Stuck at its seat, or stuck open: the largest DC part of switching at the wrong moment does not count."""
    for phase in PHASES:
        assert change(alternating(None if henry_is_open else 0.0, phase))[0] < 4.0


def test_no_current_is_no_plunger_that_moved() -> None:
    assert change([0.0] * 1500)[0] == 0.0
    assert change(alternating(0.008, 0.0, hiss=2e-5, volts=0.0))[0] == 0.0


def test_noise_is_told_and_does_not_pass_for_movement() -> None:
    value, u = change(alternating(None, 0.5, hiss=5e-3))
    assert value < 2.0
    assert 0.2 < u < 2.0


def test_a_record_shorter_than_three_periods_tells_nothing() -> None:
    with pytest.raises(ValueError, match="3 periods"):
        inrush_to_holding([0.0, 1.0, 0.0] * 50, 100)


def test_the_noise_of_a_record_is_not_its_own_swing() -> None:
    assert noise(alternating(0.008, 0.4)) < 3e-3
    assert noise(alternating(0.008, 0.4, hiss=5e-3)) == pytest.approx(5e-3, rel=0.3)
    assert noise([0.1]) == 0.0
