"""A solenoid's winding and plunger, and the current's course after each switching, on DC, AC or behind a rectifier.

v = R i + d(L i)/dt with L(g) = K/(g + g0), pull = i^2 K / (2 (g + g0)^2); g is the gap between plunger and
stop in m: `stroke` at rest, 0 when pulled in. Written in the flux linkage f = L i, so that pull = f^2/(2 K).
On AC the pull would vanish twice a period; a shading ring delays the flux of a part of the pole (textbook).
"""

from dataclasses import dataclass
from math import hypot, inf, pi, sin, sqrt

COPPER = 0.00393  # per K at 20 Cel, annealed copper, IEC 60028
FINE = 50e-6  # s between recorded points; the integration takes two steps for each
SPAN = 0.150  # s that a course is followed; everything electrical and mechanical is over by then
FREEWHEEL = 1.4  # V lost in two diodes of the rectifier, textbook
FAINT = 2000.0  # ohm above which the current is too small to move anything and settles at once
HALF_WAVE = sqrt(2) / pi


def copper(ohm_20: float, celsius: float) -> float:
    """Ohm of a copper winding at `celsius` that has `ohm_20` at 20 Cel: R = R20 (1 + 0.00393 (T - 20))."""
    return ohm_20 * (1.0 + COPPER * (celsius - 20.0))


@dataclass(frozen=True)
class Solenoid:
    """Ohm at 20 Cel; K in H m; lengths in m; kg; N; N/m; N s/m; rise in K per W of copper loss; s."""

    ohm_20: float
    force_constant: float
    gap_offset: float
    stroke: float
    mass: float
    preload: float
    rate: float
    damping: float
    kelvin_per_watt: float
    thermal_seconds: float
    shaded: float = 0.0  # part of the pole whose flux lags: inside a shading ring, or all of it in a solid core
    lag: float = 4e-3  # s of that flux
    holds: float = 6.6  # N of adhesion that just keeps it shut on the board's supply

    def inductance(self, gap: float) -> float:
        """L in H."""
        return self.force_constant / (gap + self.gap_offset)

    def spring(self, gap: float) -> float:
        """Force of the return spring in N."""
        return self.preload + self.rate * (self.stroke - gap)

    def pull(self, amps: float, gap: float) -> float:
        """Magnetic force in N."""
        return 0.5 * self.force_constant * (amps / (gap + self.gap_offset)) ** 2

    def pull_in(self, grip: float = 0.0) -> float:
        """Steady current in A at which the plunger leaves its seat, `grip` N of adhesion on it."""
        return sqrt(2 * (self.preload + grip) / self.force_constant) * (self.stroke + self.gap_offset)

    def drop_out(self) -> float:
        """Steady current in A below which a pulled-in plunger falls back."""
        return sqrt(2 * self.spring(0.0) / self.force_constant) * self.gap_offset


@dataclass(frozen=True)
class Drive:
    """What stands behind a winding: V (DC, or rms), ohm without the winding, and what lies between.

    `omega` in rad/s is 0 for DC, `phase` in rad belongs to time 0. `rectified`: a bridge lies between, and the
    current never reverses. `lost_ohm` stands in the way of every half wave of sign `lost_half`; where it stops
    the current, the winding's own runs on through the bridge. `moulded`: the bridge is part of the valve, so that
    the lead carries its AC.
    """

    volts: float
    ohms: float
    omega: float = 0.0
    phase: float = 0.0
    rectified: bool = False
    lost_ohm: float = 0.0
    lost_half: int = 1
    moulded: bool = False

    @property
    def period(self) -> float:
        """Seconds of a whole wave; 0 for DC."""
        return 2 * pi / self.omega if self.omega > 0.0 else 0.0

    def lost(self, positive: bool) -> float:
        """Ohm in the way of a half wave."""
        return self.lost_ohm if positive == (self.lost_half > 0) else 0.0

    def steady(self, ohms: float, inductance: float) -> float:
        """About the current in A through `ohms` in all: the size by which a slow change is told."""
        if ohms == inf:
            return 0.0
        if self.omega == 0.0:
            drop = FREEWHEEL if self.rectified else 0.0
            return max(0.0, self.volts - drop) / (ohms + (self.lost(True) if self.rectified else 0.0))
        if not self.rectified:
            return self.volts / hypot(ohms, self.omega * inductance)
        share = 1.0 if self.lost_ohm == 0.0 else 1.0 / (1.0 + self.lost_ohm / ohms)
        return max(0.0, (1.0 + share) * HALF_WAVE * self.volts - FREEWHEEL) / ohms


OFF = Drive(-FREEWHEEL, 0.0, rectified=False)


@dataclass(frozen=True)
class Course:
    """Current of the winding and of its lead in A, and gap in m, every FINE s from `start`.

    After SPAN the last values hold, or with a `period` in s the last wave repeats. `mean` and `ripple` are the DC
    and the AC part of the lead's current, `heating` is the winding's rms, `rest` the mean gap in the end; a plunger
    that `beats` comes back to its seat with every wave.
    """

    start: float
    amps: list[float]
    gaps: list[float]
    lead: list[float]
    period: float = 0.0
    mean: float = 0.0
    ripple: float = 0.0
    heating: float = 0.0
    rest: float = 0.0
    beats: bool = False

    def at(self, when: float) -> tuple[float, float]:
        """Current of the winding and gap at `when`, between points by a straight line."""
        return self._between(self.amps, when), self._between(self.gaps, when)

    def lead_at(self, when: float) -> float:
        """Current of the lead at `when`."""
        return self._between(self.lead, when)

    def _between(self, values: list[float], when: float) -> float:
        since, end = when - self.start, (len(values) - 1) * FINE
        if since >= end:
            if self.period == 0.0:
                return values[-1]
            since = end - self.period + (since - end) % self.period
        place = since / FINE
        k = int(place)
        return values[k] + (place - k) * (values[k + 1] - values[k])


def course(coil: Solenoid, start: float, drive: Drive, ohms: float, amps: float, gap: float, grip: float) -> Course:
    """Follow the coil for SPAN after a switching, from `amps` and `gap`, with `drive` and `ohms` in all.

    Half steps of FINE, flux by the midpoint, plunger semi-implicit; both stops are inelastic. `grip` N of
    adhesion must be overcome before the plunger leaves its seat (gap = stroke), and only there.
    """
    if ohms > FAINT:
        return _faint(coil, start, drive, ohms)
    force_constant, offset, stroke = coil.force_constant, coil.gap_offset, coil.stroke
    preload, rate, damping, mass, shaded = coil.preload, coil.rate, coil.damping, coil.mass, coil.shaded
    one_way = drive.rectified or drive.omega == 0.0  # diodes, or DC: the current does not reverse
    omega, top = drive.omega, drive.volts * (sqrt(2) if drive.omega > 0.0 else 1.0)
    loss = FREEWHEEL if drive.rectified else 0.0
    up, down = drive.lost(True), drive.lost(False)
    dt = FINE / 2
    ring = dt / coil.lag
    flux = force_constant * amps / (gap + offset)
    shade, speed, volts = flux, 0.0, top - loss
    currents, gaps, lead = [amps], [gap], [amps]
    for k in range(2 * round(SPAN / FINE)):
        width = gap + offset
        if omega > 0.0 or drive.rectified:
            volts, way = _emf(
                drive,
                top * sin(omega * (start + (k + 0.5) * dt) + drive.phase) if omega > 0.0 else top,
                loss,
                flux * width / force_constant,
                up,
                down,
            )
        middle = flux + 0.5 * dt * (volts - ohms * flux * width / force_constant)
        flux += dt * (volts - ohms * middle * width / force_constant)
        if one_way and flux < 0.0:
            flux = 0.0
        if shaded > 0.0:
            shade += ring * (flux - shade)
            square = (1.0 - shaded) * flux * flux + shaded * shade * shade
        else:
            square = flux * flux
        force = preload + rate * (stroke - gap) - square / (2 * force_constant)
        if gap >= stroke and force > -grip:
            speed = 0.0
        else:
            speed += dt * (force - damping * speed) / mass
            gap += dt * speed
            if gap <= 0.0:
                gap, speed = 0.0, 0.0
            elif gap >= stroke:
                gap, speed = stroke, 0.0
        if k % 2:
            currents.append(flux * (gap + offset) / force_constant)
            gaps.append(gap)
            if drive.moulded:
                lead.append(way * currents[-1])
    return _summed(start, currents, gaps, lead if drive.moulded else currents, drive.period, stroke)


def _emf(drive: Drive, wave: float, loss: float, amps: float, up: float, down: float) -> tuple[float, int]:
    """Volts at the winding for a source that stands at `wave`, and which way its current goes in the lead."""
    if not drive.rectified:
        return wave, 1
    bad = up if wave > 0.0 else down
    if bad == inf:
        return -FREEWHEEL, 0
    volts = abs(wave) - loss - bad * amps
    return (volts, 1 if wave > 0.0 else -1) if volts > -FREEWHEEL else (-FREEWHEEL, 0)


def _faint(coil: Solenoid, start: float, drive: Drive, ohms: float) -> Course:
    amps = drive.steady(ohms, coil.inductance(coil.stroke))
    alternates = drive.omega > 0.0 and (drive.moulded or not drive.rectified)
    mean, ripple = (0.0, amps) if alternates else (amps, 0.0)
    return Course(start, [mean] * 2, [coil.stroke] * 2, [mean] * 2, 0.0, mean, ripple, amps, coil.stroke)


def _summed(
    start: float, amps: list[float], gaps: list[float], lead: list[float], period: float, stroke: float
) -> Course:
    count = max(1, round(period / FINE))
    mean, square = _moments(lead[-count:])
    rest = sum(gaps[-count:]) / count
    heating = sqrt(_moments(amps[-count:])[1])
    beats = period > 0.0 and max(gaps[-count:]) >= stroke > rest
    return Course(start, amps, gaps, lead, period, mean, sqrt(max(0.0, square - mean * mean)), heating, rest, beats)


def _moments(values: list[float]) -> tuple[float, float]:
    """Mean and mean square."""
    return sum(values) / len(values), sum(value * value for value in values) / len(values)
