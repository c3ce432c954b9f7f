"""The unit's own controller: checks, fill until its level input sees water, heat, hold, exhaust, dry, or an error."""

from dataclasses import dataclass, replace
from enum import Enum

from simulators.unit.steam import saturation_pressure


class Doing(Enum):
    """What the controller is at."""

    OFF = "off"
    READY = "ready"
    CHECKS = "checks"
    FILLING = "filling"
    HEATING = "heating"
    HOLDING = "holding"
    EXHAUSTING = "exhausting"
    DRYING = "drying"
    DONE = "done"
    ERROR = "error"


HOT = (Doing.HEATING, Doing.HOLDING)
SHUT = (Doing.CHECKS, Doing.FILLING, Doing.HEATING, Doing.HOLDING, Doing.EXHAUSTING)  # the door must be


@dataclass(frozen=True)
class Program:
    """Cel to hold at, and s to hold for."""

    target: float
    hold: float


PROGRAMS = {"134": Program(134.0, 240.0), "121": Program(121.0, 900.0)}


@dataclass(frozen=True)
class BoardSettings:
    """Seconds, ohm, Cel and Pa."""

    checks: float
    give_up: float
    debounce: float
    level_ohm: float  # the level loop below this is water
    target: float
    hysteresis: float
    hold: float
    heat_limit: float
    short_of: float = 12e3  # Pa that may be missing to the steam table when the hold begins
    exhausted: float = 3e3  # Pa over the pressure at the start, where the exhaust is over
    exhaust_limit: float = 300.0
    dry: float = 900.0
    dry_pulse: float = 2.4  # s of heat in each dry_period
    dry_period: float = 30.0


@dataclass(frozen=True)
class Sensed:
    """What the board senses: level loop in ohm, its own temperature in Cel and pressure in Pa, the door switch."""

    level: float
    celsius: float
    pascal: float
    door_shut: bool


class Board:
    """A state machine that forgets everything when the mains goes off."""

    def __init__(self, settings: BoardSettings) -> None:
        self.settings = settings
        self.doing = Doing.OFF
        self.fault = ""  # why the controller is in ERROR
        self.since = 0.0  # s in this phase
        self.dry_share = 1.0  # part of its pulses that the board manages to give
        self._wet_for = 0.0
        self._heat = False
        self._start_pascal = 101e3  # its own pressure at the start of a cycle

    def choose(self, program: str) -> None:
        """One of PROGRAMS, for the cycles to come."""
        chosen = PROGRAMS[program]
        self.settings = replace(self.settings, target=chosen.target, hold=chosen.hold)

    @property
    def drives_valve(self) -> bool:
        """The fill valve's output is commanded on."""
        return self.doing is Doing.FILLING

    @property
    def wants_heat(self) -> bool:
        """Heat is demanded."""
        if self.doing is Doing.DRYING:
            settings = self.settings
            return self.since % settings.dry_period < settings.dry_pulse * self.dry_share
        return self._heat

    @property
    def exhausts(self) -> bool:
        """The exhaust valve is commanded open."""
        return self.doing is Doing.EXHAUSTING

    @property
    def releases_door(self) -> bool:
        """The door's catch is released to a gap."""
        return self.doing is Doing.DRYING

    @property
    def sees_level(self) -> bool:
        """The level has been reached for long enough to be believed; what the display says."""
        return self.doing is not Doing.OFF and self._wet_for >= self.settings.debounce - 1e-9

    @property
    def checking(self) -> bool:
        """The checks after the start button are under way."""
        return self.doing is Doing.CHECKS

    @property
    def running(self) -> bool:
        """A cycle is under way."""
        return self.doing in SHUT or self.doing is Doing.DRYING

    def press_start(self, door_shut: bool) -> None:
        """The start button: begins a cycle when ready or done, with the door shut. An error stays."""
        if self.doing in (Doing.READY, Doing.DONE) and door_shut:
            self._go(Doing.CHECKS)
            self._wet_for = 0.0

    def step(self, dt: float, powered: bool, sensed: Sensed) -> None:
        """One step of `dt` s."""
        if not powered:
            if self.doing is not Doing.OFF:
                self._go(Doing.OFF)
            return
        if self.doing is Doing.OFF:
            self._go(Doing.READY)
        wet = sensed.level < self.settings.level_ohm
        self._wet_for = self._wet_for + dt if wet else 0.0
        self.since += dt
        if self.doing in SHUT and not sensed.door_shut:
            self._fail("door opened")
        elif self.doing is Doing.CHECKS:
            self._start_pascal = sensed.pascal
            if self.since >= self.settings.checks - 1e-9:
                self._go(Doing.HEATING if self._wet_for >= self.settings.debounce - 1e-9 else Doing.FILLING)
        elif self.doing is Doing.FILLING:
            if self._wet_for >= self.settings.debounce - 1e-9:
                self._go(Doing.HEATING)
            elif self.since >= self.settings.give_up - 1e-9:
                self._fail("no water level")
        elif self.doing in HOT:
            self._run_heat(sensed)
        elif self.doing is Doing.EXHAUSTING:
            self._run_exhaust(sensed)
        elif self.doing is Doing.DRYING and self.since >= self.settings.dry:
            self._go(Doing.DONE)

    def _run_heat(self, sensed: Sensed) -> None:
        # Boiling takes the water below the probe on every good cycle, so the level is not asked for any more.
        settings = self.settings
        if sensed.celsius >= settings.target + settings.hysteresis:
            self._heat = False
        elif sensed.celsius <= settings.target:
            self._heat = True
        if self.doing is Doing.HEATING:
            due = saturation_pressure(settings.target) - settings.short_of
            if sensed.celsius >= settings.target and sensed.pascal >= due:
                self._go(Doing.HOLDING)
            elif self.since >= settings.heat_limit:
                self._fail("heats too slowly")
        elif self.since >= settings.hold:
            self._go(Doing.EXHAUSTING)

    def _run_exhaust(self, sensed: Sensed) -> None:
        if sensed.pascal <= self._start_pascal + self.settings.exhausted:
            self._go(Doing.DRYING)
        elif self.since >= self.settings.exhaust_limit:
            self._fail("pressure stays")

    def _go(self, doing: Doing) -> None:
        self.doing = doing
        self.since = 0.0
        self._heat = self._heat and doing in HOT
        if doing is Doing.HEATING:
            self._heat = True
        if doing is not Doing.ERROR:
            self.fault = ""

    def _fail(self, why: str) -> None:
        self._go(Doing.ERROR)
        self.fault = why
