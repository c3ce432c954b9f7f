"""The bench multimeter: functions, ranges, readings and voltage records, spoken to in SCPI."""

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial

from simulators.instruments import METER, METER_RESOLUTION, MeterErrors
from simulators.wire import Plant
from simulators.wire.scpi import Handler, Interpreter, Reply, ScpiError, none, number
from simulators.wire.upsets import Upset

IDENTITY = "Low Mill Bench Works,SIM-METER,SIM-M1,1"

OVER_RANGE = 9.9e37  # SCPI-99 volume 1, 7.2.1: infinity, and not a number
NO_VALUE = 9.91e37
OVER_RANGE_SHARE = 1.2  # of the range: where the display ends

# Seconds: 10 power line cycles at 50 Hz with the input's settling, the AC filter, a change of function.
# Invented, of a common order of size.
DC_SECONDS = 0.22
OHMS_SECONDS = 0.25
AC_SECONDS = 0.6
CONFIGURE_SECONDS = 0.02

MOST_POINTS = 20_000
SHORTEST_INTERVAL, LONGEST_INTERVAL = 20e-6, 1.0


@dataclass(frozen=True)
class Kind:
    """A function as SCPI names it: header, short name, the plant's word, seconds a reading, a fixed range."""

    header: str
    short: str
    sees: str
    seconds: float
    fixed: float | None = None


KINDS = (
    Kind("VOLTage[:DC]", "VOLT", "volts-dc", DC_SECONDS),
    Kind("VOLTage:AC", "VOLT:AC", "volts-ac", AC_SECONDS),
    Kind("CURRent[:DC]", "CURR", "amps-dc", DC_SECONDS),
    Kind("CURRent:AC", "CURR:AC", "amps-ac", AC_SECONDS),
    Kind("RESistance", "RES", "ohms-2w", OHMS_SECONDS),
    Kind("FRESistance", "FRES", "ohms-4w", OHMS_SECONDS),
    Kind("DIODe", "DIOD", "diode", OHMS_SECONDS, 10.0),
    Kind("CONTinuity", "CONT", "ohms-2w", OHMS_SECONDS, 1000.0),
    Kind("FREQuency", "FREQ", "frequency", AC_SECONDS),
)


@dataclass(frozen=True)
class Setting:
    """A chosen function; `on` is the range, None for automatic."""

    kind: Kind = KINDS[0]
    on: float | None = None


@dataclass(frozen=True)
class Triggered:
    """What INITiate started: one reading that is already taken, or a record that is still to be read."""

    start: float
    ready: float
    setting: Setting
    interval: float
    points: int
    reading: float | None


class Meter:
    """One meter. Readings are taken at the moment they are asked for; their seconds go by after it."""

    def __init__(self, plant: Plant, seed: int = 0, advance: Callable[[float], None] | None = None) -> None:
        self._plant = plant
        self._advance = advance or plant.advance
        self._errors = MeterErrors(seed)
        self._now = 0.0
        self._setting = Setting()
        self._points, self._interval = 1, 1e-3
        self._triggered: Triggered | None = None
        self.upsets: list[Upset] = []  # its readings are upset on the wire, not here
        self.interpreter = Interpreter(self._commands())

    def advance(self, now: float) -> None:
        """Bring the plant, and the meter's own idea of the time, to `now`."""
        self._now = now
        self._advance(now)

    def power_cycle(self) -> None:
        """It loses its power: settings, errors and a running record are gone, the event status says so."""
        self._setting, self._points, self._interval, self._triggered = Setting(), 1, 1e-3, None
        self.interpreter.power_on()

    def _commands(self) -> dict[str, Handler]:
        commands: dict[str, Handler] = {
            "*IDN?": self._identity,
            "*RST": self._reset,
            "*OPC": self._operation_complete,
            "*OPC?": self._is_complete,
            "CONFigure?": self._configuration,
            "READ?": self._read,
            "INITiate[:IMMediate]": self._initiate,
            "FETCh?": self._fetch,
            "[SENSe:]SWEep:POINts": self._set_points,
            "[SENSe:]SWEep:POINts?": self._say_points,
            "[SENSe:]SWEep:TINTerval": self._set_interval,
            "[SENSe:]SWEep:TINTerval?": self._say_interval,
        }
        for kind in KINDS:
            commands[f"CONFigure:{kind.header}"] = partial(self._configure, kind)
            commands[f"MEASure:{kind.header}?"] = partial(self._measure, kind)
        return commands

    def _identity(self, parameters: list[str]) -> Reply:
        none(parameters)
        return Reply(IDENTITY)

    def _reset(self, parameters: list[str]) -> Reply:
        none(parameters)
        self._setting, self._points, self._triggered = Setting(), 1, None
        return Reply(seconds=CONFIGURE_SECONDS)

    def _operation_complete(self, parameters: list[str]) -> Reply:
        none(parameters)
        self.interpreter.operation_complete()
        return Reply()

    def _is_complete(self, parameters: list[str]) -> Reply:
        none(parameters)
        return Reply("1", self._still_to_go())

    def _configure(self, kind: Kind, parameters: list[str]) -> Reply:
        if len(parameters) > 2:
            raise ScpiError(-108)
        on = _range(kind, parameters[0] if parameters else "DEF")
        if len(parameters) == 2 and parameters[1].upper() not in ("DEF", "DEFAULT", "MIN", "MAX"):
            number(parameters[1], 0.0, math.inf)  # understood; the meter always shows its six and a half digits
        self._setting, self._points, self._triggered = Setting(kind, on), 1, None
        return Reply(seconds=CONFIGURE_SECONDS)

    def _configuration(self, parameters: list[str]) -> Reply:
        none(parameters)
        on = self._setting.on
        scale = "AUTO" if on is None else f"{on:+.6E},{on * METER_RESOLUTION:+.6E}"
        return Reply(f'"{self._setting.kind.short} {scale}"')

    def _measure(self, kind: Kind, parameters: list[str]) -> Reply:
        configured = self._configure(kind, parameters)
        read = self._read([])
        return Reply(read.text, configured.seconds + read.seconds)

    def _read(self, parameters: list[str]) -> Reply:
        self._initiate(parameters)
        return self._fetch([])

    def _set_points(self, parameters: list[str]) -> Reply:
        points = number(_one(parameters), 1, MOST_POINTS)
        if points != int(points):
            raise ScpiError(-224)
        self._points = int(points)
        return Reply()

    def _say_points(self, parameters: list[str]) -> Reply:
        none(parameters)
        return Reply(str(self._points))

    def _set_interval(self, parameters: list[str]) -> Reply:
        self._interval = number(_one(parameters), SHORTEST_INTERVAL, LONGEST_INTERVAL)
        return Reply()

    def _say_interval(self, parameters: list[str]) -> Reply:
        none(parameters)
        return Reply(f"{self._interval:.8E}")

    def _initiate(self, parameters: list[str]) -> Reply:
        none(parameters)
        reading, seconds = None, (self._points - 1) * self._interval
        if self._points == 1:
            reading, seconds = self._reading(), self._setting.kind.seconds
        elif self._setting.kind.sees != "volts-dc":
            raise ScpiError(-221)
        self._triggered = Triggered(
            self._now, self._now + seconds, self._setting, self._interval, self._points, reading
        )
        return Reply()

    def _fetch(self, parameters: list[str]) -> Reply:
        none(parameters)
        taken, wait = self._triggered, self._still_to_go()
        if taken is None:
            raise ScpiError(-230)
        if taken.reading is not None:
            return Reply(f"{taken.reading:.8E}", wait)
        if wait:
            self._advance(taken.ready)  # asked too early: the rest of the record goes by in this exchange
        volts = self._plant.meter_waveform(taken.start, taken.interval, taken.points)
        return Reply(",".join(f"{self._shown(taken.setting, value):.8E}" for value in volts), wait)

    def _still_to_go(self) -> float:
        return max(0.0, self._triggered.ready - self._now) if self._triggered else 0.0

    def _reading(self) -> float:
        value = self._plant.meter_sees(self._setting.kind.sees)
        if math.isnan(value) or (self._setting.kind.sees == "frequency" and value <= 0.0):
            return NO_VALUE
        return self._shown(self._setting, value)

    def _shown(self, setting: Setting, value: float) -> float:
        on = setting.on
        if on is None:
            ranges = METER[setting.kind.sees].ranges
            on = next((scale for scale in ranges if abs(value) <= scale * OVER_RANGE_SHARE), ranges[-1])
        shown = value if math.isinf(value) else self._errors.shown(setting.kind.sees, on, value)
        return math.copysign(OVER_RANGE, shown) if abs(shown) > on * OVER_RANGE_SHARE else shown


def _range(kind: Kind, word: str) -> float | None:
    """The range that a CONFigure parameter asks for: the smallest one that holds it."""
    if kind.fixed is not None:
        if word.upper() not in ("DEF", "DEFAULT", "AUTO"):
            raise ScpiError(-108)
        return kind.fixed
    ranges = METER[kind.sees].ranges
    named = {"DEF": None, "DEFAULT": None, "AUTO": None, "MIN": ranges[0], "MAX": ranges[-1]}
    if word.upper() in named:
        return named[word.upper()]
    asked = number(word, 0.0, ranges[-1])
    return next(scale for scale in ranges if scale >= asked * (1 - 1e-9))


def _one(parameters: list[str]) -> str:
    if not parameters:
        raise ScpiError(-109)
    if len(parameters) > 1:
        raise ScpiError(-108)
    return parameters[0]
