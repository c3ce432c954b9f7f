"""What the person sees of the unit beyond its water: the display, leaks, wear, the load, the door's gap. A yes is good:
tight, even, clean, as the instructions want it. Thresholds of the eye are invented with the demonstration.
"""

from collections.abc import Callable
from functools import partial
from math import log

from simulators.unit.board import PROGRAMS, Doing
from simulators.unit.defects import Defects
from simulators.unit.unit import Unit

BUBBLES = 4e-5  # m of a hole that makes bubbles under leak liquid
PRESSES = 5e3  # Pa above ambient that it takes to see them
WORN, UNEVEN = 3e-4, 1.5e-4  # m of hole that shows at the gasket by eye, at the door by a strip of paper
SCALED, SLIMY = 0.67, 0.5  # heat contact, open mesh below which a deposit is plain to see
MAXIMUM = 0.100  # m of water in the reservoir at its upper mark
DUMMY = 1.0  # kg of the workshop's own load
AS_RUN = 0.5  # kg of a light load as an owner runs it
COOL = 35.0  # Cel

Deed = tuple[Callable[[], None], float]
Sight = tuple[Callable[[], bool], float]
Number = tuple[Callable[[], float], str, float, float]
Word = tuple[Callable[[], str], float]


class Looks:
    """Deeds, sights, numbers and words by the names of things, each with the seconds that it takes."""

    def __init__(self, unit: Unit) -> None:
        self._unit = unit
        self.doings: dict[str, Deed] = {
            **{f"program-{name}": (partial(unit.board.choose, name), 5.0) for name in PROGRAMS},
            "load-out": (lambda: unit.put_load(0.0), 30.0),
            "load-1-kg": (lambda: unit.put_load(DUMMY), 60.0),
            "load-as-run": (lambda: unit.put_load(max(AS_RUN, unit.owners_load())), 60.0),
        }
        defects = self._defects
        self.sights: dict[str, Sight] = {
            "level-shown": (lambda: unit.board.sees_level, 5.0),
            "door-tight": (lambda: self._tight(defects().gasket_hole, defects().door_hole), 240.0),
            "door-without-steam": (lambda: self._tight(defects().gasket_hole, defects().door_hole), 15.0),
            "fittings-tight": (lambda: self._tight(defects().fitting_hole), 360.0),
            "glands-tight": (lambda: self._tight(defects().gland_hole), 360.0),
            "relief-dry": (lambda: not defects().relief_hole > 0.0 or defects().relief_weeps > 200e3, 300.0),
            "gasket-sound": (lambda: defects().gasket_hole < WORN, 180.0),
            "door-even": (lambda: max(defects().door_hole, 0.2 * defects().gasket_hole) < UNEVEN, 300.0),
            "heater-clean": (lambda: defects().heater_contact > SCALED, 120.0),
            "chamber-clean": (lambda: defects().filter_open > SLIMY and defects().probe_film_ohm > 1e6, 120.0),
            "load-allowed": (lambda: defects().load < 1.0 and defects().trap < 0.1, 60.0),
            "reservoir-below-maximum": (lambda: unit.fill.level(unit.stores) <= MAXIMUM, 15.0),
            "door-released": (lambda: unit.vessel.gap > 0.0, 10.0),
            "cut-out-set": (lambda: not unit.heat.tripped, 30.0),
        }
        # What is read, its unit, the last digit that is shown, the seconds it takes.
        self.numbers: dict[str, Number] = {
            "temperature-shown": (unit.sensors.celsius, "Cel", 0.1, 5.0),
            "pressure-shown": (lambda: unit.sensors.pascal() / 1e3, "kPa", 0.5, 5.0),
            "door-gap": (lambda: 1e3 * unit.vessel.gap, "mm", 0.5, 20.0),
            "mains-at-owner": (lambda: unit.model.place.supply.volts * defects().mains, "V", 1.0, 30.0),
            "rested-minutes": (lambda: min(999.0, defects().rested), "min", 1.0, 15.0),
            "bottle-water": (lambda: 1e3 * unit.stores.bottle, "g", 1.0, 120.0),
        }
        self.words: dict[str, Word] = {"state-shown": (self._state, 5.0)}

    def _defects(self) -> Defects:
        return self._unit.defects

    def _tight(self, *holes: float) -> bool:
        """No bubbles; without pressure there are none to see."""
        return self._unit.gas.gauge < PRESSES or max(holes) < BUBBLES

    def _state(self) -> str:
        """What the display says the unit is at: a phase, or the error."""
        board = self._unit.board
        return board.fault if board.doing is Doing.ERROR else board.doing.value

    def cooling(self) -> float:
        """s until the chamber is cool enough to be handled, left alone."""
        heat, ambient = self._unit.heat, self._unit.model.place.ambient
        hottest = max(heat.metal, heat.water)
        if hottest <= COOL:
            return 5.0
        capacity = heat.capacity(self._unit.stores.chamber, 0.0) + heat.parts.metal_capacity + heat.load
        return 60.0 + capacity / heat.parts.loss * log((hottest - ambient) / max(1.0, COOL - 2.0 - ambient))
