"""Saturated steam, what a disagreement of pressure and temperature means, and F0.

Saturation after IAPWS R7-97(2012), region 4, both ways. Pressures are absolute, in Pa, unless a name says gauge;
temperatures are in Cel.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

KELVIN = 273.15
LOWEST, HIGHEST = 273.15, 647.096  # K, the ends of region 4
LOWEST_PA, HIGHEST_PA = 611.213, 22.064e6  # Pa, the same ends

# IAPWS R7-97(2012), Table 34: n1 to n10.
_N = (
    0.11670521452767e4, -0.72421316703206e6, -0.17073846940092e2, 0.12020824702470e5, -0.32325550322333e7,
    0.14915108613530e2, -0.48232657361591e4, 0.40511340542057e6, -0.23855557567849, 0.65017534844798e3,
)  # fmt: skip

F0_BASE = 121.1  # Cel
F0_Z = 10.0  # K: ten times the effect for every z


def saturation_pressure(celsius: float) -> float:
    """Pressure in Pa of steam that is saturated at ``celsius`` (R7-97, equation 30).

    Raises ValueError outside 0 to 373.946 Cel.
    """
    kelvin = celsius + KELVIN
    if not LOWEST <= kelvin <= HIGHEST:
        raise ValueError(f"saturated steam exists from 0 to 373.946 Cel, not at {celsius:g} Cel")
    theta = kelvin + _N[8] / (kelvin - _N[9])
    a = theta * theta + _N[0] * theta + _N[1]
    b = _N[2] * theta * theta + _N[3] * theta + _N[4]
    c = _N[5] * theta * theta + _N[6] * theta + _N[7]
    root: float = 2.0 * c / (-b + math.sqrt(b * b - 4.0 * a * c))
    return root**4 * 1e6


def saturation_temperature(pascal: float) -> float:
    """Temperature in Cel of steam that is saturated at ``pascal``, absolute (R7-97, equation 31).

    Raises ValueError outside 611.213 Pa to 22.064 MPa.
    """
    if not LOWEST_PA <= pascal <= HIGHEST_PA:
        raise ValueError(f"saturated steam exists from 611.213 Pa to 22.064 MPa absolute, not at {pascal:g} Pa")
    beta = (pascal / 1e6) ** 0.25
    e = beta * beta + _N[2] * beta + _N[5]
    f = _N[0] * beta * beta + _N[3] * beta + _N[6]
    g = _N[1] * beta * beta + _N[4] * beta + _N[7]
    d = 2.0 * g / (-f - math.sqrt(f * f - 4.0 * e * g))
    half = _N[9] + d
    kelvin: float = (half - math.sqrt(half * half - 4.0 * (_N[8] + _N[9] * d))) / 2.0
    return kelvin - KELVIN


def saturation_slope(celsius: float) -> float:
    """dp/dT on the saturation line in Pa/K, by central differences over 10 mK."""
    low, high = max(celsius - 0.005, 0.0), min(celsius + 0.005, HIGHEST - KELVIN)
    return (saturation_pressure(high) - saturation_pressure(low)) / (high - low)


@dataclass(frozen=True)
class Disagreement:
    """How far a temperature lies from the one that its pressure asks for.

    ``kelvin`` is measured less saturated, ``u`` its standard uncertainty; ``air`` is the partial pressure in Pa of air
    that would explain it (Dalton; negative where the steam is too hot for its pressure); ``ambient`` the ambient
    pressure in Pa that would explain it if the pressure was read as gauge, else None. ``meaning`` is for people.
    """

    kelvin: float
    u: float
    air: float
    ambient: float | None
    meaning: str

    @property
    def agrees(self) -> bool:
        """Whether the difference is no more than its expanded uncertainty (k = 2)."""
        return abs(self.kelvin) <= 2.0 * self.u


# Ambient pressure where people live: about 4 000 m up to a winter high at the sea (common practice, no source).
_PLAUSIBLE_AMBIENT = (60e3, 106e3)


def disagreement(
    celsius: float, pascal: float, u_celsius: float = 0.0, u_pascal: float = 0.0, ambient: float | None = None
) -> Disagreement:
    """Compare a temperature with the saturation temperature of an absolute pressure measured at the same time.

    ``ambient`` (Pa) is what was added to a gauge reading to get ``pascal``. Raises ValueError off the saturation line.
    """
    saturated = saturation_temperature(pascal)
    kelvin = celsius - saturated
    u = math.hypot(u_celsius, u_pascal / saturation_slope(saturated))
    air = pascal - saturation_pressure(celsius)
    fitting = None if ambient is None else ambient - air
    return Disagreement(kelvin, u, air, fitting, _meaning(kelvin, u, air, ambient, fitting))


def _meaning(kelvin: float, u: float, air: float, ambient: float | None, fitting: float | None) -> str:
    if abs(kelvin) <= 2.0 * u:
        return "pressure and temperature agree"
    altitude = ""
    if fitting is not None and ambient is not None and _PLAUSIBLE_AMBIENT[0] <= fitting <= _PLAUSIBLE_AMBIENT[1]:
        altitude = f", or ambient is {fitting / 1e3:.1f} kPa and not {ambient / 1e3:.1f} kPa (altitude, weather)"
    if kelvin < 0:
        return (
            f"{-kelvin:.2f} K too cold for its pressure: {air / 1e3:.1f} kPa of air left in, or the temperature reads "
            f"low, or the pressure reads {air / 1e3:.1f} kPa high{altitude}"
        )
    return (
        f"{kelvin:.2f} K too hot for its pressure: superheated (dry) steam, or the temperature reads high, or the "
        f"pressure reads {-air / 1e3:.1f} kPa low{altitude}"
    )


@dataclass(frozen=True)
class Lethality:
    """F0 in s with what it was counted by: base temperature (Cel) and z (K). ``gaps`` is the time in s not counted."""

    seconds: float
    base: float
    z: float
    gaps: float = 0.0

    @property
    def minutes(self) -> float:
        return self.seconds / 60.0

    def u(self, u_celsius: float) -> float:
        """Standard uncertainty in s from an error ``u_celsius`` common to all temperatures: F0 ln(10)/z u(T)."""
        return self.seconds * math.log(10.0) / self.z * u_celsius


def f0(
    times: Sequence[float],
    celsius: Sequence[float],
    base: float = F0_BASE,
    z: float = F0_Z,
    longest_gap: float = math.inf,
) -> Lethality:
    """F0 = integral of 10^((T - base)/z) dt (the definition of moist-heat practice) over samples in s and Cel.

    Between two samples the temperature is a straight line, integrated exactly; two that lie further apart than
    ``longest_gap`` (s) prove nothing and count as nothing. Raises ValueError for samples of unequal number, that are
    not finite, or whose times do not rise.
    """
    if len(times) != len(celsius):
        raise ValueError(f"{len(times)} times but {len(celsius)} temperatures")
    if not all(map(math.isfinite, (*times, *celsius, base, z))) or z <= 0:
        raise ValueError("F0 needs finite samples and a z above zero")
    total, gaps = [], 0.0
    for n in range(1, len(times)):
        dt = times[n] - times[n - 1]
        if dt <= 0:
            raise ValueError(f"the times of F0 must rise: sample {n + 1} is not after sample {n}")
        if dt > longest_gap:
            gaps += dt
            continue
        first = (celsius[n - 1] - base) / z * math.log(10.0)
        rise = (celsius[n] - celsius[n - 1]) / z * math.log(10.0)
        mean = math.expm1(rise) / rise if abs(rise) > 1e-12 else 1.0
        total.append(dt * math.exp(first) * mean)
    return Lethality(math.fsum(total), base, z, gaps)
