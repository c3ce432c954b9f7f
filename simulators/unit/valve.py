"""One solenoid valve in a unit: its winding's temperature, its plunger, and the current's course of late."""

from collections import deque
from math import hypot, inf

from simulators.unit.lag import Lag
from simulators.unit.solenoid import FREEWHEEL, SPAN, Course, Drive, Solenoid, copper, course

KEPT = 12  # courses kept for the waveform
DRIFT = 0.02  # change of an alternating current that is followed anew: its plunger may have got loose
SUPPRESSED = Drive(0.0, 400.0)  # a bare AC coil that is switched off runs dead through a suppressor (invented)
DIODES = Drive(-FREEWHEEL, 0.0)  # a coil behind a rectifier runs dead through its diodes
# A plunger that beats on its seat stops the water 50 times a second: it starts anew against the inertia of 0.6 m of
# tube (rho l / A = 2e7 kg/m4) and in 14 ms under 1.2 kPa comes to a twentieth of its flow.
BEATING = 0.05
WITHIN = Drive(0.0, 0.0, rectified=True, moulded=True)  # the same inside the valve: nothing of it in the lead


class Valve:
    """Driven by `step` with what stands behind it, or None for nothing. `off` is what its current dies in."""

    def __init__(self, coil: Solenoid, celsius: float, off: Drive = DIODES) -> None:
        self.coil = coil
        self._off = off
        self._surroundings = celsius
        self._winding = Lag(coil.thermal_seconds, celsius)
        self.joint = 0.0  # ohm in series inside the winding
        self.grip = 0.0  # N of adhesion at the seat
        self.amps = 0.0  # in the winding, rms
        self.mean = self.ripple = 0.0  # A, DC and AC part of the lead's current
        self.gap = coil.stroke
        self.courses: deque[Course] = deque(maxlen=KEPT)
        self._busy_until = -inf
        self._drive: Drive | None = None
        self._followed: tuple[object, ...] = ()  # what the last course was followed with
        self._beats = False
        self._size = 0.0  # A, by which it is told that the current has changed since

    @property
    def celsius(self) -> float:
        """Temperature of the winding."""
        return self._winding.value

    @property
    def ohms(self) -> float:
        """Resistance of the winding now, without what is moulded in with it."""
        return copper(self.coil.ohm_20, self.celsius) + self.joint

    @property
    def impedance(self) -> float:
        """Ohm at the terminals: at 50 Hz for a plunger that stands where it stands, on DC the resistance."""
        omega = 0.0 if self._drive is None or self._drive.rectified else self._drive.omega
        return hypot(self.ohms, omega * self.coil.inductance(self.gap))

    @property
    def opening(self) -> float:
        """0 shut to 1 fully open, as the water has it."""
        lifted = 1.0 - self.gap / self.coil.stroke
        if lifted < 1e-9:
            return 0.0
        return lifted * BEATING if self._beats else lifted

    @property
    def moving(self) -> bool:
        """A course is still being followed."""
        return self._busy_until > -inf

    def step(self, now: float, dt: float, drive: Drive | None) -> None:
        """From `now` the coil has `drive` behind it; dt warms it."""
        before = self._drive
        self._drive = drive
        if (drive is None) != (before is None) or (drive and before and drive.omega != before.omega):
            self._switch(now)
        if self._busy_until > now:
            one = self.courses[-1]
            self.amps, self.gap = one.at(now)
            self.amps, self._beats = abs(self.amps), False
        else:
            self._busy_until = -inf
            self._stand(drive)
            if drive is not None and self._wants_to_move(drive):
                self._switch(now)
        self._warm(dt)

    def _stand(self, drive: Drive | None) -> None:
        """The plunger stands, or hums about where it stands; the current follows supply and winding."""
        if drive is None:
            self.amps = self.mean = self.ripple = 0.0
            self._beats = False
            if self.courses:
                self.gap = self.courses[-1].gaps[-1]
            return
        one = self.courses[-1]
        self.gap, self._beats = one.rest, one.beats
        if drive.omega == 0.0:
            self.amps = self.mean = drive.steady(drive.ohms + self.ohms, 0.0)
            self.ripple = 0.0
            return
        part = self._scale(drive)
        self.amps, self.mean, self.ripple = one.heating * part, one.mean * part, one.ripple * part

    def _scale(self, drive: Drive) -> float:
        """By how much the current has changed since its course was followed."""
        now = drive.steady(drive.ohms + self.ohms, self.coil.inductance(self.gap))
        return now / self._size if self._size > 0.0 else 1.0

    def _wants_to_move(self, drive: Drive) -> bool:
        """A slow change of current, or a part that has changed, has brought the plunger to the point of moving."""
        coil = self.coil
        if drive.omega > 0.0:
            changed = (coil, self.grip, drive.lost_ohm) != self._followed
            return changed or abs(self._scale(drive) - 1.0) > DRIFT
        if self.gap >= coil.stroke:
            return coil.pull(self.amps, coil.stroke) > coil.preload + self.grip
        return coil.pull(self.amps, self.gap) < coil.spring(self.gap)

    def _switch(self, now: float) -> None:
        amps, gap = 0.0, self.gap
        if self.courses:
            amps, gap = self.courses[-1].at(now)
            if self._busy_until <= now and self.courses[-1].period == 0.0:
                amps = self.amps  # has followed the supply since
        drive = self._drive or self._off
        self.courses.append(
            course(self.coil, now, drive, drive.ohms + self.ohms, amps if drive.omega else abs(amps), gap, self.grip)
        )
        self.gap = gap
        self._busy_until = now + SPAN
        self._followed = (self.coil, self.grip, drive.lost_ohm)
        one = self.courses[-1]
        self.mean, self.ripple = one.mean, one.ripple
        self._size = drive.steady(drive.ohms + self.ohms, self.coil.inductance(one.rest))

    def _warm(self, dt: float) -> None:
        """First-order rise over the surroundings with the copper loss."""
        loss = self.amps * self.amps * copper(self.coil.ohm_20, self._winding.value)
        self._winding.step(dt, self._surroundings + loss * self.coil.kelvin_per_watt)

    def current(self, when: float) -> float:
        """Current of the lead in A at a time not after the present; 0 before the first recorded course."""
        for one in reversed(self.courses):
            if when >= one.start:
                if one is self.courses[-1] and when > one.start + SPAN and one.period == 0.0:
                    return self.mean
                return one.lead_at(when)
        return 0.0
