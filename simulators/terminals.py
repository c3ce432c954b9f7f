"""What stands at the meter's terminals through the path that the relays have closed."""

from math import exp, inf, sqrt
from random import Random

from simulators.fixture import (
    FEED,
    OHMS_BUS,
    OHMS_POINTS,
    TO_BENCH,
    VOLTS_BUS,
    VOLTS_POINTS,
    Fixture,
)
from simulators.names import UnknownName
from simulators.unit.electrics import parallel
from simulators.unit.unit import Unit
from simulators.unit.valve_feed import SHUNT_OHM

FUNCTIONS = ("volts-dc", "volts-ac", "ohms-4w", "ohms-2w", "diode", "frequency", "amps-dc", "amps-ac")
OHMS = ("ohms-4w", "ohms-2w", "diode")
BESIDE_HEATER = 470.0  # ohm across the heater while its leads are on (invented): suppressor and lamp of the unit
JUNCTIONS = ("fill-valve-diode",)  # test points that only the diode function makes sense of
CREEP, CREEP_SECONDS = 0.6, 3.0  # a DC ohmmeter polarises a probe in water; a typical size, from memory


class Terminals:
    """The meter's view of a unit in its fixture. True values; the meter's own errors are not made here."""

    def __init__(self, unit: Unit, fixture: Fixture, seed: int) -> None:
        self._unit = unit
        self._fixture = fixture
        parts = Random(f"{seed}/meter path")
        self._path = 0.2 + 0.4 * parts.random()  # ohm of leads and selectors, two-wire only
        self._hundred = 100.0 * (1 + 1e-3 * (2 * parts.random() - 1))
        self._shunt = SHUNT_OHM * (1 + 5e-4 * (2 * parts.random() - 1))
        self._hum = 0.02 * parts.random()
        self._five = 5.0 * (1 + 5e-4 * (2 * parts.random() - 1))
        self._nonsense = Random(f"{seed}/nonsense")

    def at(self, point: str, function: str) -> float | None:
        """What an instrument of one's own sees between the ends of a test point, leads put on by hand: V, A, Ohm (inf
        for open). None for a function that nobody can measure there."""
        if function in OHMS:
            if point not in OHMS_POINTS.values() or (function == "diode") != (point in JUNCTIONS):
                return None
            if self._fixture.live(point):
                self._fixture.note(f"ohms on a live circuit: {point}")
                return self._nonsense.uniform(-1e3, 1e6)
            if function == "diode":
                return self._unit.circuits.feed.junction_volts()
            return self._part(point) + (0.1 if function == "ohms-2w" else 0.0)
        if point not in VOLTS_POINTS.values() or (point == "fill-current") != function.startswith("amps"):
            return None
        volts = self._volts(point, function.endswith("-ac"))
        return volts / self._shunt if function.startswith("amps") else volts

    def sees(self, function: str) -> float:
        """See Plant.meter_sees."""
        if function not in FUNCTIONS:
            raise UnknownName("meter function", function, FUNCTIONS)
        if function in OHMS:
            return self._ohms(function)
        points = self._fixture.point(VOLTS_BUS)
        if function == "frequency":
            on = "heater-terminals" in points and self._unit.circuits.heater_volts() > 0.0
            return self._unit.model.place.supply.hertz if on else 0.0
        if function.startswith("amps"):
            return 0.0  # nothing is wired to the meter's current sockets
        if len(points) != 1 or self._fixture.closed(OHMS_BUS):
            return self._no_path(function)
        return self._volts(points[0], function == "volts-ac")

    def _no_path(self, function: str) -> float:
        """No clean voltage path: hum of open leads, or nonsense where several things are joined."""
        if self._fixture.closed(OHMS_BUS) and any(map(self._fixture.live, self._fixture.point(OHMS_BUS))):
            return self._nonsense.uniform(-30.0, 30.0)
        return self._hum if function == "volts-ac" else 0.0

    def _volts(self, point: str, alternating: bool) -> float:
        unit = self._unit
        circuits, valve = unit.circuits, unit.valve
        match point:
            case "heater-terminals":
                mean = circuits.heater_mean_volts()
                if not alternating:
                    return mean
                return sqrt(circuits.heater_volts() ** 2 - mean * mean) or self._hum  # the meter's AC leaves DC out
            case "heater-joint":
                return (circuits.heater_amps() * circuits.lead_ohms() or self._hum) if alternating else 0.0
            case "fill-supply":
                volts = circuits.feed.plug_volts(alternating)
            case "reference-voltage":
                volts = 0.0 if alternating else self._five
            case "fill-current":  # the shunt shorts what hum there is
                return (valve.ripple if alternating else valve.mean) * self._shunt
            case _:
                volts = self._bus(alternating)
        return (volts or self._hum) if alternating else volts

    def _bus(self, alternating: bool) -> float:
        """DC or AC on the bench bus under what it feeds."""
        fixture, unit = self._fixture, self._unit
        place = unit.model.place
        if alternating != fixture.bus_alternates():
            return 0.0
        volts, ohms = (
            (place.bench_ac_volts, place.bench_ac_ohm) if alternating else (fixture.bus_volts_dc(), place.bench_ohm)
        )
        if fixture.closed(FEED) and fixture.closed(TO_BENCH):
            volts -= unit.valve.amps * ohms
        return max(0.0, volts)

    def waveform(self, start: float, interval: float, count: int) -> list[float]:
        """See Plant.meter_waveform. Only the shunt is followed finely; any other point reads as it stands."""
        points = self._fixture.point(VOLTS_BUS)
        if points == ["fill-current"]:
            current = self._unit.valve.current
            return [current(start + k * interval) * self._shunt for k in range(count)]
        return [self.sees("volts-dc")] * count

    # ---- ohms ---------------------------------------------------------------------------------------------

    def _ohms(self, function: str) -> float:
        points = self._fixture.point(OHMS_BUS)
        self._fixture.watch()
        if not points or self._fixture.closed(VOLTS_BUS):
            return inf
        if any(map(self._fixture.live, points)):
            return self._nonsense.uniform(-1e3, 1e6)
        if function == "diode":
            junction = len(points) == 1 and points[0] in JUNCTIONS
            return self._unit.circuits.feed.junction_volts() if junction else inf
        value = inf
        for point in points:
            value = parallel(value, self._part(point))
        return value + self._path if function == "ohms-2w" else value

    def _part(self, point: str) -> float:
        unit = self._unit
        electrics, feed = unit.model.electrics, unit.circuits.feed
        match point:
            case "fill-coil":
                board = inf if unit.joined.to_bench else electrics.output_off_ohm + feed.harness_ohm()
                return parallel(feed.coil_ohms(), board)
            case "heater":
                ohms = unit.circuits.heater_ohms()
                return parallel(ohms, BESIDE_HEATER) if unit.joined.heater_leads else ohms
            case "cut-out":
                return inf if unit.heat.tripped else unit.model.heat.cut_out_ohm
            case "chassis-reference":
                return electrics.chassis_ohm + unit.defects.ground_ohm
            case "fill-lead":
                return feed.harness_ohm()
            case "probe":
                since = max(0.0, unit.now - self._fixture.changed)
                creep = CREEP * (1.0 - exp(-since / CREEP_SECONDS)) if unit.probe_wet else 0.0
                beside = inf if unit.joined.level_lifted else unit.joined.level_beside_ohm
                return parallel(unit.probe_ohm() * (1.0 + creep), beside)
            case "level-sub":
                return unit.circuits.level_ohm(unit.probe_wet)
            case "temperature-sensor":
                return unit.sensors.ohm()
            case "fill-valve-diode":
                return inf  # an ohmmeter does not open the junctions
            case "reference-100":
                return self._hundred
        return 0.0  # the shorting link
