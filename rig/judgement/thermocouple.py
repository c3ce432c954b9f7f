"""Thermocouples of types K and T on ITS-90: NIST Monograph 175 (SRD 60), reference functions with their cold junction.

The reference functions are the definition; temperatures are found from them by bisection, not by the approximate
inverse polynomials.
"""

from __future__ import annotations

import math
from dataclasses import dataclass


@dataclass(frozen=True)
class Kind:
    """Coefficients in mV per powers of Cel, below and from 0 Cel on; ``bump`` is type K's exponential term."""

    below: tuple[float, ...]
    above: tuple[float, ...]
    highest: float
    bump: tuple[float, float, float] | None = None


LOWEST = -200.0  # Cel: below, a thermocouple is hardly one

KINDS = {
    "K": Kind(
        (
            0.0, 0.39450128025e-1, 0.23622373598e-4, -0.32858906784e-6, -0.49904828777e-8, -0.67509059173e-10,
            -0.57410327428e-12, -0.31088872894e-14, -0.10451609365e-16, -0.19889266878e-19, -0.16322697486e-22,
        ),
        (
            -0.17600413686e-1, 0.38921204975e-1, 0.18558770032e-4, -0.99457592874e-7, 0.31840945719e-9,
            -0.56072844889e-12, 0.56075059059e-15, -0.32020720003e-18, 0.97151147152e-22, -0.12104721275e-25,
        ),
        1372.0,
        (0.118597600, -0.118343200e-3, 126.9686),
    ),
    "T": Kind(
        (
            0.0, 0.38748106364e-1, 0.44194434347e-4, 0.11844323105e-6, 0.20032973554e-7, 0.90138019559e-9,
            0.22651156593e-10, 0.36071154205e-12, 0.38493939883e-14, 0.28213521925e-16, 0.14251594779e-18,
            0.48768662286e-21, 0.10795539270e-23, 0.13945027062e-26, 0.79795153927e-30,
        ),
        (
            0.0, 0.38748106364e-1, 0.33292227880e-4, 0.20618243404e-6, -0.21882256846e-8, 0.10996880928e-10,
            -0.30815758772e-13, 0.45479135290e-16, -0.27512901673e-19,
        ),
        400.0,
    ),
}  # fmt: skip


def millivolts(kind: str, celsius: float) -> float:
    """Voltage in mV between a junction at ``celsius`` and one at 0 Cel. Raises KeyError for another type than K and T,
    ValueError outside -200 Cel to the type's highest."""
    of = KINDS[kind]
    if not LOWEST <= celsius <= of.highest:
        raise ValueError(f"type {kind} covers -200 to {of.highest:g} Cel here, not {celsius:g} Cel")
    found = 0.0
    for c in reversed(of.below if celsius < 0 else of.above):
        found = found * celsius + c
    if of.bump is not None and celsius >= 0:
        a0, a1, a2 = of.bump
        found += a0 * math.exp(a1 * (celsius - a2) ** 2)
    return found


def temperature(kind: str, measured: float, cold_junction: float) -> float:
    """Temperature in Cel of the hot junction from the voltage ``measured`` (mV) at terminals of ``cold_junction`` Cel.

    The cold junction's own voltage is added before the curve is read: adding its temperature afterwards is wrong by
    kelvins. Raises as :func:`millivolts`, and ValueError for a voltage that the curve does not reach.
    """
    wanted = measured + millivolts(kind, cold_junction)
    low, high = LOWEST, KINDS[kind].highest
    if not millivolts(kind, low) <= wanted <= millivolts(kind, high):
        raise ValueError(f"{measured:g} mV is beyond what type {kind} gives between {low:g} and {high:g} Cel")
    for _ in range(60):
        middle = (low + high) / 2.0
        low, high = (middle, high) if millivolts(kind, middle) < wanted else (low, middle)
    return (low + high) / 2.0


def slope(kind: str, celsius: float) -> float:
    """Sensitivity in mV/K at ``celsius``, by differences over 20 mK."""
    low, high = max(LOWEST, celsius - 0.01), min(KINDS[kind].highest, celsius + 0.01)
    return (millivolts(kind, high) - millivolts(kind, low)) / (high - low)
