"""What the person does to the water's way with their own hands, beyond looking and weighing: fills up, takes the filter
out, feeds the valve from a can, and tries single parts on the table. Heads and sizes are invented with the bench.
"""

from collections.abc import Callable
from math import pi, sqrt

from simulators.unit.unit import Unit
from simulators.unit.water import DENSITY, GRAVITY, kv_in_series, kv_of_hole

MARK = 0.098  # m of water in the reservoir at its upper mark
BENCH_WATER = 10.0  # uS/cm of the water that the workshop keeps
OVER_PROBE = 0.004  # m of water over the probe's tip when it is covered by hand
POUR_HEAD, POURED = 0.060, 1e-4  # m of water over the filter, m3 poured through it
COIL_HEAD = 0.100  # m of water over the coil on the table
FILTER_FARAD = 3.3e-9  # of the mains filter to earth (invented)
PIN = 0.6  # open part of the weep hole's area that lets the gauge pin pass
VENT_PASCAL, AIR, DISCHARGE = 1000.0, 1.2, 0.7  # Pa over the vent, kg/m3, of a small hole (textbook)
SLOWEST = 600.0  # s after which the person stops pouring

Deed = tuple[Callable[[], None], float]
Sight = tuple[Callable[[], bool], float]
Number = tuple[Callable[[], float], str, float, float]


class Handwork:
    """Deeds, sights and numbers by the names of things, each with the seconds that it takes."""

    def __init__(self, unit: Unit) -> None:
        self._unit = unit
        self.doings: dict[str, Deed] = {
            "reservoir-to-mark": (self._fill_up, 90.0),
            "probe-covered": (self._cover_probe, 60.0),
            "filter-out": (lambda: unit.put_aside("filter", True), 60.0),
            "filter-in": (lambda: unit.put_aside("filter", False), 60.0),
            "inlet-fed-direct": (lambda: unit.put_aside("inlet", True), 240.0),
            "inlet-back": (lambda: unit.put_aside("inlet", False), 240.0),
            "bottle-off": (lambda: unit.put_aside("bottle", True), 30.0),
            "bottle-on": (lambda: unit.put_aside("bottle", False), 30.0),
            "vent-plugged": (lambda: unit.put_aside("vent", True), 120.0),
            "vent-unplugged": (lambda: unit.put_aside("vent", False), 120.0),
            "vent-held-shut": (lambda: unit.put_aside("vent held", True), 120.0),
            "vent-let-go": (lambda: unit.put_aside("vent held", False), 120.0),
            "fill-line-plugged": (lambda: unit.put_aside("fill line", True), 120.0),
            "fill-line-unplugged": (lambda: unit.put_aside("fill line", False), 120.0),
            "drain-and-dry": (self._drain_and_dry, 240.0),
            "stood-as-at-owner": (self._stand_as_at_owner, 120.0),
            "stood-level": (self._stand_level, 120.0),
        }
        self.sights: dict[str, Sight] = {
            "weep-pin": (lambda: unit.defects.weep_open >= PIN, 600.0),
        }
        # What is read, its unit, the last digit of the hand instrument, the seconds it takes.
        self.numbers: dict[str, Number] = {
            "filter-pour": (self._pour, "s", 0.5, 120.0),
            "coil-alone": (self._coil_alone, "mL/s", 0.1, 480.0),
            "vent-air-flow": (self._vent_air, "L/min", 0.1, 600.0),
            "earth-leakage": (self._earth_leakage, "mA", 0.01, 60.0),
        }

    def _fill_up(self) -> None:
        """Empty the reservoir and fill it to the mark with the workshop's water."""
        self._unit.fill_reservoir(MARK)
        self._unit.circuits.water_put_in = BENCH_WATER

    def _stand_as_at_owner(self) -> None:
        """Wedges under the rear feet, as far out of level as the intake sheet says."""
        self._unit.tilt = self._unit.model.place.tilt_at_owner + self._unit.defects.tilt

    def _stand_level(self) -> None:
        self._unit.tilt = 0.0

    def _drain_and_dry(self) -> None:
        """Open the door, let the water out, wipe the chamber."""
        unit, stores = self._unit, self._unit.stores
        unit.door_shut = False
        stores.removed += unit.drain_chamber(0.0)

    def _cover_probe(self) -> None:
        """Pour the workshop's water into the chamber until the probe is covered; the door stands open."""
        unit, shape = self._unit, self._unit.shape
        unit.door_shut = False
        unit.circuits.water_put_in = BENCH_WATER
        low, high = 0.0, shape.volume / 2
        for _ in range(50):  # the depth grows with the volume: halve the span until it fits
            middle = (low + high) / 2
            low, high = (
                (middle, high) if shape.depth(middle) < unit.model.shape.probe_depth + OVER_PROBE else (low, middle)
            )
        unit.pour_into_chamber(max(0.0, DENSITY * high - unit.stores.chamber))

    def _pour(self) -> float:
        kv = self._unit.model.path.filter * self._unit.defects.filter_open
        flow = kv / 3600.0 * sqrt(DENSITY * GRAVITY * POUR_HEAD / 1e5)
        return min(SLOWEST, POURED / flow) if flow > 0.0 else SLOWEST

    def _coil_alone(self) -> float:
        kv = kv_in_series(self._unit.model.path.coil, kv_of_hole(self._unit.defects.coil_bore))
        return 1e6 * kv / 3600.0 * sqrt(DENSITY * GRAVITY * COIL_HEAD / 1e5)

    def _earth_leakage(self) -> float:
        """Through the mains filter's capacitors to earth, and through the insulation, in mA."""
        supply, insulation = self._unit.model.place.supply, self._unit.model.electrics.insulation
        return supply.volts * (2 * pi * supply.hertz * FILTER_FARAD + 1e-6 / insulation) * 1e3

    def _vent_air(self) -> float:
        """Air through the cold vent alone, its line off, as an orifice: Q = C A sqrt(2 dp / rho)."""
        unit, bottle_on = self._unit, "bottle" not in self._unit.aside
        unit.put_aside("bottle", True)
        area = unit.model.vent.hole**2 * pi / 4 * unit.defects.vent_open
        unit.put_aside("bottle", not bottle_on)
        return 6e4 * DISCHARGE * area * sqrt(2 * VENT_PASCAL / AIR)
