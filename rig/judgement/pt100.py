"""Platinum resistance thermometers after IEC 60751:2022: resistance and temperature both ways, and tolerances."""

from __future__ import annotations

import math

A, B, C = 3.9083e-3, -5.775e-7, -4.183e-12  # per K, K2, K4; C below 0 Cel only
LOWEST, HIGHEST = -200.0, 850.0  # Cel

# Tolerance in K: a fixed part, and a share of the temperature.
CLASSES = {"AA": (0.1, 0.0017), "A": (0.15, 0.002), "B": (0.3, 0.005), "C": (0.6, 0.01)}


def ohms(celsius: float, r0: float = 100.0) -> float:
    """Resistance in Ohm at ``celsius`` of one with ``r0`` Ohm at 0 Cel. Raises ValueError outside -200 to 850."""
    if not LOWEST <= celsius <= HIGHEST:
        raise ValueError(f"IEC 60751 covers -200 to 850 Cel, not {celsius:g} Cel")
    cold = C * (celsius - 100.0) * celsius**3 if celsius < 0 else 0.0
    return r0 * (1.0 + A * celsius + B * celsius**2 + cold)


def slope(celsius: float, r0: float = 100.0) -> float:
    """dR/dT in Ohm/K at ``celsius``."""
    cold = C * (4.0 * celsius**3 - 300.0 * celsius**2) if celsius < 0 else 0.0
    return r0 * (A + 2.0 * B * celsius + cold)


def celsius(resistance: float, r0: float = 100.0) -> float:
    """Temperature in Cel of a resistance in Ohm. Raises ValueError for one beyond -200 to 850 Cel."""
    if not ohms(LOWEST, r0) <= resistance <= ohms(HIGHEST, r0):
        raise ValueError(f"{resistance:g} Ohm is no resistance of a thermometer of {r0:g} Ohm between -200 and 850 Cel")
    ratio = resistance / r0
    guess = (-A + math.sqrt(A * A - 4.0 * B * (1.0 - ratio))) / (2.0 * B)
    if ratio < 1.0:  # Newton's method from the curve without C; it is monotonic, and six rounds are more than enough
        for _ in range(6):
            guess = max(guess, LOWEST)
            guess -= (ohms(guess, r0) - resistance) / slope(guess, r0)
    return guess


def tolerance(of_class: str, at: float) -> float:
    """The limit of error in K of a class (AA, A, B, C) at ``at`` Cel. Raises KeyError for another class."""
    fixed, share = CLASSES[of_class]
    return fixed + share * abs(at)
