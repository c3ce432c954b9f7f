"""Records of simulated coils: sampled, noisy, quantised, switched on at any moment, plunger free or stuck."""

from __future__ import annotations

import math
import random
from dataclasses import dataclass, replace

from simulators.unit.nominals import AC_COIL, DC_COIL, MOULDED_COIL
from simulators.unit.solenoid import SPAN, Drive, copper, course

VARIANTS = ("DC coil", "AC coil", "rectifier moulded in, AC", "rectifier moulded in, DC")
INTERVAL = 200e-6  # s, what the inspection records with
HERTZ = 50.0


@dataclass(frozen=True)
class Recorded:
    """Currents in A, INTERVAL apart, and whether the plunger moved in truth."""

    values: list[float]
    moved: bool


def recorded(variant: str, seed: int, stuck: bool, interval: float = INTERVAL, seconds: float = 0.28) -> Recorded:
    """One record: supply within 10 %, winding 10 to 60 Cel, made parts within a few percent, all by the seed."""
    source = random.Random(f"{variant}/{seed}/{stuck}")
    nominal = {"D": DC_COIL, "A": AC_COIL, "r": MOULDED_COIL}[variant[0]]
    turns, wire, spring = (source.uniform(1 - r, 1 + r) for r in (0.02, 0.02, 0.03))
    coil = replace(
        nominal,
        ohm_20=nominal.ohm_20 * turns * wire,
        force_constant=nominal.force_constant * turns**2,
        preload=nominal.preload * spring,
        rate=nominal.rate * spring,
    )
    mains, celsius = source.uniform(0.9, 1.1), source.uniform(10.0, 60.0)
    ac = variant.startswith("AC") or variant.endswith("AC")
    drive = Drive(
        24.0 * mains + (0.4 if ac else 0.1),
        0.3,
        omega=2 * math.pi * HERTZ if ac else 0.0,
        phase=source.uniform(0, 2 * math.pi),
        rectified=variant[0] == "r",
        moulded=variant[0] == "r" and ac,
    )
    start = 0.01 + source.uniform(0, interval)
    one = course(
        coil, start, drive, drive.ohms + copper(coil.ohm_20, celsius), 0.0, coil.stroke, 60.0 if stuck else 0.0
    )
    noise, step, offset = source.uniform(5e-6, 1e-4), 1e-5, source.uniform(-1e-4, 1e-4)
    values = []
    for n in range(round(seconds / interval)):
        t = n * interval
        true = one.lead_at(t) if t >= start else 0.0
        values.append(round((true + offset + source.gauss(0, noise)) / step) * step)
    return Recorded(values, min(one.gaps) < 0.2 * coil.stroke)


assert SPAN < 0.2
