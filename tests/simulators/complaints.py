"""Does a unit complain? Its own board runs it, as at the owner's, and what an owner would notice is judged."""

from functools import cache
from math import inf

from walk import MAINS, Walk

from simulators.plant import FAULTS, Plant
from simulators.unit.board import Doing

ENABLE, AIR_DUMP, AIR_SUPPLY = 1, 10, 14
SLOW = 1.25  # of the same unit's time to the hold without the fault
LEFT_WET = 0.005  # kg of water in chamber and load at the end of the cycle
OUT_TO_ROOM = 0.008  # kg of steam out to the room in a cycle, beyond the same unit's without the fault
LEAKS_DOWN = 3e3  # Pa lost in 10 min from 50 kPa above ambient
# Which complaint a fault is measured by; the others have none at the bench.
NO_LEVEL = {
    "filter-choked", "line-narrowed", "condenser-narrowed", "weep-hole-blocked", "vent-valve-shut", "bottle-vent-shut",
    "reservoir-low", "water-too-pure", "coil-open", "coil-shorted", "plunger-stuck", "rectifier-open", "lead-high-ohm",
    "board-output-dead", "probe-coated", "ground-open", "board-level-input-dead", "fouled",
}  # fmt: skip
SLOW_HEAT = {
    "heater-open", "one-element-open", "hot-joint", "half-wave-switch", "cutout-weak", "heater-scaled",
    "vent-valve-open", "gasket-worn", "mains-low", "overload", "pressure-sensor-off", "temp-sensor-off",
    "too-little-water", "too-much-water", "valve-seat-passing",
}  # fmt: skip
LEAKS = {"door-misaligned", "fitting-leak", "gland-leak", "vent-valve-seat", "spring-weak"}
WET = {"door-not-opening", "dry-heat-weak", "loading", "reservoir-overfull", "relief-weeping"}


def started(plant: Plant) -> Walk:
    """A cycle has been started, the heater released."""
    walk = Walk(plant)
    walk.ask("door-shut")
    walk.coil(MAINS, True)
    walk.wait(3.0)
    walk.ask("start-button")
    walk.coil(ENABLE, True)
    return walk


def until(walk: Walk, phases: tuple[Doing, ...], limit: float) -> float:
    """s until the board is in one of `phases`, or in an error; inf when `limit` is over."""
    began, board = walk.plant.now, walk.plant.unit.board
    while board.doing not in (*phases, Doing.ERROR):
        if walk.plant.now - began > limit:
            return inf
        walk.wait(1.0)
    return walk.plant.now - began


def no_level(unit: str, seed: int, faults: dict[str, float]) -> bool:
    """The fill gives up."""
    walk = started(Plant(unit, seed, faults))
    until(walk, (Doing.HEATING,), 300.0)
    return walk.plant.unit.board.fault == "no water level"


def slow_heat(unit: str, seed: int, faults: dict[str, float]) -> bool:
    """The hold comes late, or never."""
    walk = started(Plant(unit, seed, faults))
    until(walk, (Doing.HEATING,), 300.0)
    if walk.plant.unit.board.doing is Doing.ERROR:
        return True
    allowed = SLOW * heat_time(unit, seed)
    return until(walk, (Doing.HOLDING,), allowed) > allowed or walk.plant.unit.board.doing is Doing.ERROR


@cache
def heat_time(unit: str, seed: int) -> float:
    """s from the end of the fill to the hold, without a fault."""
    walk = started(Plant(unit, seed))
    until(walk, (Doing.HEATING,), 300.0)
    return until(walk, (Doing.HOLDING,), 3000.0)


def leak_down(unit: str, seed: int, faults: dict[str, float]) -> float:
    """Pa lost in 10 min from 50 kPa above ambient, dry and cold, the vent held shut by hand."""
    walk = Walk(Plant(unit, seed, faults))
    walk.ask("vent-held-shut")
    walk.ask("door-shut")
    walk.coil(AIR_DUMP, True)
    walk.coil(AIR_SUPPLY, True)
    walk.wait(60.0)
    walk.coil(AIR_SUPPLY, False)
    walk.wait(120.0)
    before, ambient = walk.plant.quantity(4), walk.plant.unit.model.place.pressure
    walk.wait(600.0)
    return max(before - walk.plant.quantity(4), ambient + 48e3 - before)  # gone already while it settled


def stays_wet(unit: str, seed: int, faults: dict[str, float]) -> bool:
    """A whole cycle leaves water inside, or lets steam out to the room."""
    limit = to_room(unit, seed) + OUT_TO_ROOM if "relief-weeping" in faults else inf
    left, out = cycle(unit, seed, faults, out_to=limit)
    return left > LEFT_WET or out > limit


def cycle(unit: str, seed: int, faults: dict[str, float], out_to: float = inf) -> tuple[float, float]:
    """Kg of water left inside at the end, kg of steam that went out to the room until the door was released.

    With a limit for the latter it ends there.
    """
    walk = started(Plant(unit, seed, faults))
    stores = walk.plant.unit.stores
    before = stores.room
    until(walk, (Doing.DRYING,), 4000.0)
    out = before - stores.room
    if out_to < inf:
        return 0.0, out
    until(walk, (Doing.DONE,), 1000.0)
    return stores.chamber + stores.load, out


@cache
def to_room(unit: str, seed: int) -> float:
    """The same steam without a fault."""
    return cycle(unit, seed, {}, out_to=0.0)[1]


def complains(name: str, unit: str, seed: int, severity: float) -> bool:
    """The fault's own complaint."""
    faults = {name: severity}
    if name in NO_LEVEL:
        return no_level(unit, seed, faults)
    if name in LEAKS:
        return leak_down(unit, seed, faults) > LEAKS_DOWN
    return slow_heat(unit, seed, faults) if name in SLOW_HEAT else stays_wet(unit, seed, faults)


def possible(name: str, unit: str) -> bool:
    """Whether the unit can have it, and has a complaint of it at the bench."""
    if name == "condenser-narrowed" and unit == "demo-18-ac":
        return False  # it is not on the fill's way; the exhaust alone is no complaint of an owner
    return name in NO_LEVEL | SLOW_HEAT | WET | LEAKS and unit in FAULTS[name].units
