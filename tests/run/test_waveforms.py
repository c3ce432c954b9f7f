"""What a fast record tells of a plunger: the dip of a DC coil, inrush over holding of an AC coil."""

from __future__ import annotations

import math
import random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rig.bench.meter_path import MeterReading
from rig.judgement.accuracy import Statement, Term
from rig.run.waveforms import dip, figure_of, inrush_and_holding, noise


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


def alternating(
    inrush: float, holding: float, seats: float = 0.025, phase: float = 0.3, offset: float = 0.5, hiss: float = 0.0
) -> list[float]:
    """Currents in A of a 50 Hz coil switched on at 20 ms, 5 kHz, 300 ms: rms ``inrush`` until it seats, then
    ``holding``; the DC part of switching at a phase decays with 8 ms."""
    source = random.Random(7)
    values = []
    for n in range(1500):
        t = n / 5000 - 0.02
        value = 0.0
        if t >= 0:
            rms = inrush if t < seats else holding
            value = rms * math.sqrt(2) * (math.sin(2 * math.pi * 50 * t + phase) + offset * math.exp(-t / 0.008))
        values.append(value + source.gauss(0, hiss))
    return values


STATED = Statement("a meter", (Term("share of reading", 5e-5, 0.0, ""), Term("share of range", 0.0, 1e-5, "")))


def ratio(values: list[float]) -> float:
    said = MeterReading(tuple(0.1 * v for v in values), "V", 1.0, STATED, "", 0.1, 1e-3)
    value, code, lines = figure_of("inrush over holding", said, 1 / 5000, 0.02)
    assert code == "1"
    assert all(each.u >= 0 for each in lines)
    return value


@pytest.mark.parametrize("phase", (0.0, 0.8, 1.6, 2.4))
@pytest.mark.parametrize("seats", (0.015, 0.02, 0.03))
def test_a_plunger_that_moves_lets_the_current_fall_at_every_moment_of_switching(phase: float, seats: float) -> None:
    offset = -math.sin(phase)  # the current begins at zero, whenever the contact closes
    moved = ratio(alternating(0.86, 0.42, seats, phase, offset))
    stuck = ratio(alternating(0.86, 0.86, seats, phase, offset))
    assert moved > 1.3
    assert stuck < 1.15


def test_the_ratio_is_that_of_the_two_currents_without_an_offset() -> None:
    assert ratio(alternating(0.86, 0.42, offset=0.0, seats=0.1)) == pytest.approx(0.86 / 0.42, rel=1e-3)
    inrush, holding = inrush_and_holding(alternating(0.5, 0.25, offset=0.0, seats=0.1), 100)
    assert (inrush, holding) == (pytest.approx(0.5, rel=1e-3), pytest.approx(0.25, rel=1e-3))


def test_no_current_is_no_plunger_that_moved() -> None:
    assert ratio([0.0] * 1500) == 0.0
    assert ratio(alternating(0.0, 0.0, hiss=2e-5)) == 0.0


def test_a_record_shorter_than_a_period_has_no_holding_current() -> None:
    with pytest.raises(ValueError, match="window"):
        inrush_and_holding([0.0, 1.0, 0.0], 4)


def test_the_noise_of_a_record_is_not_its_own_swing() -> None:
    quiet, loud = noise(alternating(0.86, 0.42)), noise(alternating(0.86, 0.42, hiss=5e-3))
    assert quiet < 3e-3
    assert loud == pytest.approx(5e-3, rel=0.3)
    assert noise([0.1]) == 0.0
