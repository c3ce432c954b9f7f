"""The unit's own controller: checks, fill until its level input sees water, heat, hold, or an error."""

from dataclasses import dataclass
from enum import Enum


class Doing(Enum):
    """What the controller is at."""

    OFF = "off"
    READY = "ready"
    CHECKS = "checks"
    FILLING = "filling"
    HEATING = "heating"
    HOLDING = "holding"
    DONE = "done"
    ERROR = "error"


@dataclass(frozen=True)
class BoardSettings:
    """Seconds, ohm and Cel."""

    checks: float
    give_up: float
    debounce: float
    level_ohm: float  # the level loop below this is water
    target: float
    hysteresis: float
    hold: float
    heat_limit: float


class Board:
    """A state machine that forgets everything when the mains goes off."""

    def __init__(self, settings: BoardSettings) -> None:
        self.settings = settings
        self.doing = Doing.OFF
        self.fault = ""  # why the controller is in ERROR
        self._since = 0.0
        self._wet_for = 0.0
        self._heat = False

    @property
    def drives_valve(self) -> bool:
        """The fill valve's output is commanded on."""
        return self.doing is Doing.FILLING

    @property
    def wants_heat(self) -> bool:
        """Heat is demanded."""
        return self._heat

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
        return self.doing in (Doing.CHECKS, Doing.FILLING, Doing.HEATING, Doing.HOLDING)

    def press_start(self, door_shut: bool) -> None:
        """The start button: begins a cycle when ready or done, with the door shut. An error stays."""
        if self.doing in (Doing.READY, Doing.DONE) and door_shut:
            self._go(Doing.CHECKS)
            self._wet_for = 0.0

    def step(self, dt: float, powered: bool, level: float, celsius: float, door_shut: bool) -> None:
        """One step of `dt` s with the level loop at `level` ohm and the board's own sensor at `celsius`."""
        if not powered:
            if self.doing is not Doing.OFF:
                self._go(Doing.OFF)
            return
        if self.doing is Doing.OFF:
            self._go(Doing.READY)
        wet = level < self.settings.level_ohm
        self._wet_for = self._wet_for + dt if wet else 0.0
        self._since += dt
        if self.running and not door_shut:
            self._fail("door opened")
        elif self.doing is Doing.CHECKS:
            if self._since >= self.settings.checks - 1e-9:
                self._go(Doing.HEATING if self._wet_for >= self.settings.debounce - 1e-9 else Doing.FILLING)
        elif self.doing is Doing.FILLING:
            if self._wet_for >= self.settings.debounce - 1e-9:
                self._go(Doing.HEATING)
            elif self._since >= self.settings.give_up - 1e-9:
                self._fail("no water level")
        elif self.doing in (Doing.HEATING, Doing.HOLDING):
            self._run_heat(celsius)

    def _run_heat(self, celsius: float) -> None:
        # Boiling takes the water below the probe on every good cycle, so the level is not asked for any more.
        settings = self.settings
        if celsius >= settings.target + settings.hysteresis:
            self._heat = False
        elif celsius <= settings.target:
            self._heat = True
        if self.doing is Doing.HEATING:
            if celsius >= settings.target:
                self._go(Doing.HOLDING)
            elif self._since >= settings.heat_limit:
                self._fail("heats too slowly")
        elif self._since >= settings.hold:
            self._go(Doing.DONE)

    def _go(self, doing: Doing) -> None:
        self.doing = doing
        self._since = 0.0
        self._heat = self._heat and doing in (Doing.HEATING, Doing.HOLDING)
        if doing is Doing.HEATING:
            self._heat = True
        if doing is not Doing.ERROR:
            self.fault = ""

    def _fail(self, why: str) -> None:
        self._go(Doing.ERROR)
        self.fault = why
