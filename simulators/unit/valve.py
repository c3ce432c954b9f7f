"""A DC solenoid valve: winding, plunger, and the current's course after each switching.

v = R i + d(L i)/dt with L(g) = K/(g + g0), pull = i^2 K / (2 (g + g0)^2); g is the gap between plunger and
stop in m: `stroke` at rest, 0 when pulled in. Written in the flux linkage f = L i, so that pull = f^2/(2 K).
"""

from collections import deque
from dataclasses import dataclass
from math import inf, sqrt

from simulators.unit.lag import Lag

COPPER = 0.00393  # per K at 20 Cel, annealed copper, IEC 60028
FINE = 50e-6  # s between recorded points; the integration takes two steps for each
SPAN = 0.150  # s that a course is followed; everything electrical and mechanical is over by then
FREEWHEEL = 1.4  # V lost in the rectifier's diodes while the coil's current dies away
FAINT = 2000.0  # ohm above which the current is too small to move anything and settles at once
KEPT = 12  # courses kept for the waveform


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
class Course:
    """Current in A and gap in m every FINE seconds from `start`; `last` holds after SPAN."""

    start: float
    amps: list[float]
    gaps: list[float]

    def at(self, when: float) -> tuple[float, float]:
        """Current and gap at `when`, between points by a straight line; the last ones afterwards."""
        place = (when - self.start) / FINE
        k = int(place)
        if k >= len(self.amps) - 1:
            return self.amps[-1], self.gaps[-1]
        part = place - k
        return (
            self.amps[k] + part * (self.amps[k + 1] - self.amps[k]),
            self.gaps[k] + part * (self.gaps[k + 1] - self.gaps[k]),
        )


def course(coil: Solenoid, start: float, volts: float, ohms: float, amps: float, gap: float, grip: float) -> Course:
    """Follow the coil for SPAN after a switching, from `amps` and `gap`, with `volts` behind `ohms` in all.

    Half steps of FINE, flux by the midpoint, plunger semi-implicit; both stops are inelastic. `grip` N of
    adhesion must be overcome before the plunger leaves its seat (gap = stroke), and only there.
    """
    force_constant, offset, stroke = coil.force_constant, coil.gap_offset, coil.stroke
    preload, rate, damping, mass = coil.preload, coil.rate, coil.damping, coil.mass
    if ohms > FAINT:
        amps, volts, ohms = volts / ohms if ohms < inf else 0.0, 0.0, 0.0
        return Course(start, [amps, amps], [stroke, stroke])
    flux = force_constant * amps / (gap + offset)
    speed = 0.0
    dt = FINE / 2
    currents, gaps = [amps], [gap]
    for _ in range(round(SPAN / FINE)):
        for _ in (0, 1):
            width = gap + offset
            middle = flux + 0.5 * dt * (volts - ohms * flux * width / force_constant)
            flux += dt * (volts - ohms * middle * width / force_constant)
            if flux < 0.0:
                flux = 0.0  # diodes: the current does not reverse
            force = preload + rate * (stroke - gap) - flux * flux / (2 * force_constant)
            if gap >= stroke and force > -grip:
                speed = 0.0
                continue
            speed += dt * (force - damping * speed) / mass
            gap += dt * speed
            if gap <= 0.0:
                gap, speed = 0.0, 0.0
            elif gap >= stroke:
                gap, speed = stroke, 0.0
        currents.append(flux * (gap + offset) / force_constant)
        gaps.append(gap)
    return Course(start, currents, gaps)


class Valve:
    """One valve in a unit: its winding's temperature, its plunger, and the record of its last courses."""

    def __init__(self, coil: Solenoid, celsius: float) -> None:
        self.coil = coil
        self._surroundings = celsius
        self._winding = Lag(coil.thermal_seconds, celsius)
        self.joint = 0.0  # ohm in series inside the winding
        self.grip = 0.0  # N of adhesion at the seat
        self.amps = 0.0
        self.gap = coil.stroke
        self.courses: deque[Course] = deque(maxlen=KEPT)
        self._busy_until = -inf
        self._driven = False

    @property
    def celsius(self) -> float:
        """Temperature of the winding."""
        return self._winding.value

    @property
    def ohms(self) -> float:
        """Resistance of the winding now, as measured at its terminals."""
        return copper(self.coil.ohm_20, self.celsius) + self.joint

    @property
    def opening(self) -> float:
        """0 shut to 1 fully open."""
        return 1.0 - self.gap / self.coil.stroke

    @property
    def moving(self) -> bool:
        """A course is still being followed."""
        return self._busy_until > -inf

    def step(self, now: float, dt: float, driven: bool, volts: float, ohms: float) -> None:
        """From `now` the coil has `volts` behind `ohms` (source and leads, without the coil); dt warms it."""
        total = ohms + self.ohms
        if driven != self._driven:
            self._driven = driven
            self._switch(now, volts if driven else -FREEWHEEL, total if driven else self.ohms)
        if self._busy_until > now:
            self.amps, self.gap = self.courses[-1].at(now)
        else:
            self._busy_until = -inf
            self.gap = self.courses[-1].gaps[-1] if self.courses else self.gap
            self.amps = volts / total if driven and total < inf else 0.0
            if driven and self._wants_to_move():
                self._switch(now, volts, total)
        self._warm(dt)

    def _wants_to_move(self) -> bool:
        """A slow change of current has brought the plunger to the point of moving."""
        coil = self.coil
        if self.gap >= coil.stroke:
            return coil.pull(self.amps, coil.stroke) > coil.preload + self.grip
        return coil.pull(self.amps, self.gap) < coil.spring(self.gap)

    def _switch(self, now: float, volts: float, ohms: float) -> None:
        if self._busy_until > now:
            self.amps, self.gap = self.courses[-1].at(now)
        self.courses.append(course(self.coil, now, volts, ohms, self.amps, self.gap, self.grip))
        self._busy_until = now + SPAN

    def _warm(self, dt: float) -> None:
        """First-order rise over the surroundings with the copper loss."""
        loss = self.amps * self.amps * copper(self.coil.ohm_20, self._winding.value)
        self._winding.step(dt, self._surroundings + loss * self.coil.kelvin_per_watt)

    def current(self, when: float) -> float:
        """Current in A at a time not after the present; 0 before the first recorded course."""
        for one in reversed(self.courses):
            if when >= one.start:
                if one is self.courses[-1] and when > one.start + SPAN:
                    return self.amps
                return one.at(when)[0]
        return 0.0
