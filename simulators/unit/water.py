"""The fluid side: head of the reservoir, restrictions in series, the water column in the coil, chamber depth.

Head and restrictions: dp = rho g h = r q + sum(1e5 (3600/Kv)^2) q^2, the definition of Kv after IEC 60534-1
(m3/h of water at 1 bar) with a laminar term for the tube; q is its positive root.
"""

from bisect import bisect_right
from dataclasses import dataclass
from math import acos, pi, sqrt

GRAVITY = 9.80665
DENSITY = 998.2  # kg/m3, water at 20 Cel
VISCOSITY = 1.0e-3  # Pa s, water at 20 Cel
ORIFICE = 0.62  # discharge coefficient of a sharp hole, textbook value


def kv_of_hole(diameter: float, discharge: float = ORIFICE) -> float:
    """Kv in m3/h of a sharp round hole of `diameter` m: discharge * area * sqrt(2e5 / rho) * 3600."""
    return discharge * pi * diameter**2 / 4 * sqrt(2e5 / DENSITY) * 3600


def laminar(length: float, diameter: float) -> float:
    """Resistance of a round tube in Pa s/m3 (Hagen and Poiseuille): 128 mu L / (pi d^4)."""
    return 128 * VISCOSITY * length / (pi * diameter**4)


def square_term(*kvs: float) -> float:
    """What stands before q^2, in Pa s2/m6, for restrictions in series given by their Kv in m3/h."""
    return sum(1e5 * (3600.0 / kv) ** 2 for kv in kvs)


def flow(drop: float, linear: float, square: float) -> float:
    """The flow in m3/s that `drop` Pa drives through linear*q + square*q^2; negative for a negative drop."""
    if drop == 0.0:
        return 0.0
    size = abs(drop)
    q = (
        size / linear
        if square == 0.0
        else (sqrt(linear * linear + 4 * square * size) - linear) / (2 * square)
    )
    return q if drop > 0 else -q


class Cylinder:
    """A lying cylinder tilted along its length: volume in m3 against depth in m at the middle."""

    STEP = 0.00025
    SLICES = 24

    def __init__(self, diameter: float, length: float, tilt: float = 0.0) -> None:
        self.volume = pi * diameter**2 / 4 * length
        self._radius = diameter / 2
        self._length = length
        self._tilt = tilt  # m of fall per m, positive: front low, so the rear, where the probe is, runs dry
        half = abs(tilt) * length / 2
        # From the depth at which the low end is just wet up to half full, which no fill ever reaches.
        count = int((half + self._radius) / self.STEP) + 1
        self._depths = [-half + k * self.STEP for k in range(count)]
        self._volumes = [self._filled(depth) for depth in self._depths]

    def _section(self, depth: float) -> float:
        r = self._radius
        if depth <= 0.0:
            return 0.0
        return r * r * acos((r - depth) / r) - (r - depth) * sqrt(2 * r * depth - depth * depth)

    def _filled(self, depth: float) -> float:
        if self._tilt == 0.0:
            return self._section(depth) * self._length
        part = self._length / self.SLICES
        places = ((k + 0.5) * part - self._length / 2 for k in range(self.SLICES))
        return sum(self._section(depth + self._tilt * place) for place in places) * part

    def depth(self, volume: float) -> float:
        """Depth in m at the middle of the length that `volume` m3 gives (a straight line between table points)."""
        if volume <= 0.0:
            return self._depths[0]
        k = min(bisect_right(self._volumes, volume), len(self._volumes) - 1)
        below, above = self._volumes[k - 1], self._volumes[k]
        return self._depths[k - 1] + self.STEP * (volume - below) / (above - below)


@dataclass
class Path:
    """What the water passes, in this order: weep hole, coil column, then coil, filter, valve and tube.

    Kv in m3/h, `linear` in Pa s/m3. A Kv of 0 is shut.
    """

    weep: float
    coil: float
    filter: float
    valve: float
    tube: float
    linear: float

    def rest(self, opening: float) -> float:
        """The square term from the coil column to the chamber with the valve open by `opening` (0 to 1)."""
        if min(self.coil, self.filter, self.valve, self.tube, opening) <= 0.0:
            return float("inf")
        return square_term(self.coil, self.filter, self.valve * opening, self.tube)


@dataclass
class Stores:
    """Where the water is, kg. Nothing is lost: the sum changes only by `poured` and by the room's humidity."""

    reservoir: float
    coil: float
    chamber: float = 0.0  # liquid
    steam: float = 0.0  # vapour in the chamber
    jug: float = 0.0
    removed: float = 0.0  # weighed and poured away
    poured: float = 0.0  # put in by hand since the start (negative: taken out)
    room: float = 0.0  # humidity that came in by the open door (negative: went out)

    def balance(self) -> float:
        """All water less all that came from outside: constant to rounding."""
        held = self.reservoir + self.coil + self.chamber + self.steam + self.jug + self.removed
        return held - self.poured - self.room


@dataclass(frozen=True)
class Shape:
    """Areas in m2 and heights in m. The reservoir's floor is the zero of its depth and of the column's height."""

    reservoir_area: float
    outlet: float  # depth below which nothing leaves the reservoir
    fall: float  # reservoir floor above the probe tip
    column_area: float  # the coil seen as an upright pipe that reaches down by `fall`
    probe_depth: float  # depth at the probe that wets it, unit level


class Fill:
    """The way from the reservoir into the chamber. Moves water between the stores; keeps no water itself."""

    def __init__(self, shape: Shape, path: Path) -> None:
        self.shape = shape
        self.path = path
        self.q = 0.0  # m3/s into the chamber
        self._square = {0.0: float("inf")}
        self._weep = square_term(path.weep)

    def change(self, path: Path) -> None:
        """The path's restrictions are other ones from now on."""
        self.path = path
        self._square = {0.0: float("inf")}
        self._weep = square_term(path.weep) if path.weep > 0.0 else float("inf")

    def level(self, stores: Stores) -> float:
        """Depth of the reservoir, m."""
        return stores.reservoir / (DENSITY * self.shape.reservoir_area)

    def column(self, stores: Stores) -> float:
        """Height of the water in the coil over the reservoir's floor, m (negative below it)."""
        return stores.coil / (DENSITY * self.shape.column_area) - self.shape.fall

    def still(self, stores: Stores) -> bool:
        """Nothing flows: valve shut and the column as high as the reservoir (to 0.1 mm)."""
        return self.q == 0.0 and (
            self._weep == float("inf") or abs(self.level(stores) - self.column(stores)) < 1e-4
        )

    def step(self, stores: Stores, dt: float, opening: float, depth: float, gauge: float) -> float:
        """One step of `dt` s; `depth` of the chamber in m, `gauge` its pressure in Pa. Returns kg into the chamber."""
        self._refill(stores, dt)
        if opening <= 0.0:
            self.q = 0.0
            return 0.0
        square = self._square.get(opening)
        if square is None:
            square = self.path.rest(opening)
            if opening == 1.0:
                self._square[1.0] = square
        if square == float("inf"):
            self.q = 0.0
            return 0.0
        shape = self.shape
        head = shape.fall + self.column(stores) - (depth - shape.probe_depth)
        q = flow(DENSITY * GRAVITY * head - gauge, self.path.linear, square)
        mass = DENSITY * q * dt
        mass = min(mass, stores.coil) if mass > 0 else max(mass, -stores.chamber)
        stores.coil -= mass
        stores.chamber += mass
        self.q = mass / (DENSITY * dt)
        return mass

    def _refill(self, stores: Stores, dt: float) -> None:
        """Water between reservoir and column through the weep hole, at most to equal heights."""
        level = self.level(stores)
        difference = level - self.column(stores)
        if self._weep == float("inf") or (difference > 0.0 and level <= self.shape.outlet):
            return
        mass = DENSITY * dt * flow(DENSITY * GRAVITY * difference, 0.0, self._weep)
        limit = difference * DENSITY * self.shape.column_area
        if difference > 0.0:
            mass = min(mass, limit, (level - self.shape.outlet) * DENSITY * self.shape.reservoir_area)
        else:
            mass = max(mass, limit)
        stores.reservoir -= mass
        stores.coil += mass
