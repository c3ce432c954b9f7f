"""The fluid side: head of the reservoir, restrictions in series, the water column in the coil, chamber depth.

Head and restrictions: dp = rho g h = r q + sum(1e5 (3600/Kv)^2) q^2, the definition of Kv after IEC 60534-1
(m3/h of water at 1 bar) with a laminar term for the tube; q is its positive root.
"""

from bisect import bisect_right
from dataclasses import dataclass
from math import acos, inf, pi, sqrt

GRAVITY = 9.80665
DENSITY = 998.2  # kg/m3, water at 20 Cel
VISCOSITY = 1.0e-3  # Pa s, water at 20 Cel
ORIFICE = 0.62  # discharge coefficient of a sharp hole, textbook value


def kv_of_hole(diameter: float, discharge: float = ORIFICE) -> float:
    """Kv in m3/h of a sharp round hole of `diameter` m: discharge * area * sqrt(2e5 / rho) * 3600."""
    return discharge * pi * diameter**2 / 4 * sqrt(2e5 / DENSITY) * 3600


def kv_in_series(first: float, second: float) -> float:
    """Kv of two restrictions one behind the other: 1/Kv^2 add up; an infinite one does not count."""
    if first == inf or second == inf:
        return min(first, second)
    return first * second / sqrt(first * first + second * second)


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
    # The root written so that a small square term does not cancel against the linear one.
    return 2 * drop / (linear + sqrt(linear * linear + 4 * square * abs(drop)))


class Cylinder:
    """A lying, level cylinder: depth in m against volume in m3, up to half full (no fill goes further)."""

    STEP = 0.00025  # m between the table's points

    def __init__(self, diameter: float, length: float) -> None:
        self.volume = pi * diameter**2 / 4 * length
        self._depths = [k * self.STEP for k in range(int(diameter / 2 / self.STEP) + 1)]
        self._volumes = [length * self._section(diameter / 2, depth) for depth in self._depths]

    @staticmethod
    def _section(radius: float, depth: float) -> float:
        """Area in m2 of the segment of a circle that is `depth` deep."""
        left = radius - depth
        return radius * radius * acos(left / radius) - left * sqrt(2 * radius * depth - depth * depth)

    def depth(self, volume: float) -> float:
        """Depth in m that `volume` m3 gives, by a straight line between the table's points."""
        if volume <= 0.0:
            return 0.0
        k = min(bisect_right(self._volumes, volume), len(self._volumes) - 1)
        below, above = self._volumes[k - 1], self._volumes[k]
        return self._depths[k - 1] + self.STEP * (volume - below) / (above - below)


@dataclass
class Path:
    """What the water passes, in this order: weep hole, coil column, then coil, filter, valve and tube.

    Kv in m3/h, `linear` in Pa s/m3. A Kv of 0 is shut. `own_port`: the fill has a port of its own; then the water
    passes the reservoir's outlet (`weep`) instead of the coil, and there is no column.
    """

    weep: float
    coil: float
    filter: float
    valve: float
    tube: float
    linear: float
    own_port: bool = False

    def rest(self, opening: float) -> float:
        """The square term from the coil column to the chamber with the valve open by `opening` (0 to 1)."""
        first = self.weep if self.own_port else self.coil
        if min(first, self.filter, self.valve, self.tube, opening) <= 0.0:
            return inf
        return square_term(first, self.filter, self.valve * opening, self.tube)


@dataclass
class Stores:
    """Where the water is, kg. The sum changes only by `poured` and by the room's humidity."""

    reservoir: float
    coil: float
    chamber: float = 0.0  # liquid
    steam: float = 0.0  # vapour in the chamber
    load: float = 0.0  # liquid held by a load in the chamber
    bottle: float = 0.0  # in the condensate bottle
    jug: float = 0.0
    removed: float = 0.0  # weighed and poured away
    poured: float = 0.0  # put in by hand since the start (negative: taken out)
    room: float = 0.0  # humidity that came in by the open door (negative: went out)

    def balance(self) -> float:
        """All water less all that came from outside: constant to rounding."""
        inside = self.chamber + self.steam + self.load
        held = self.reservoir + self.coil + inside + self.bottle + self.jug + self.removed
        return held - self.poured - self.room


@dataclass(frozen=True)
class Shape:
    """Areas in m2, heights in m; the reservoir's floor is zero for its depth and the column's height."""

    reservoir_area: float
    outlet: float  # depth below which nothing leaves the reservoir
    fall: float  # reservoir floor above the probe tip
    column_area: float  # the coil seen as an upright pipe that reaches down by `fall`
    probe_depth: float  # depth at the probe that wets it, unit level


class Fill:
    """The way from the reservoir into the chamber. Moves water between the stores; keeps no water itself."""

    def __init__(self, shape: Shape, path: Path) -> None:
        self.shape = shape
        self.q = 0.0  # m3/s into the chamber
        self.change(path)

    def change(self, path: Path) -> None:
        """The path's restrictions are these from now on."""
        self.path = path
        self._open = path.rest(1.0)
        self._weep = square_term(path.weep) if path.weep > 0.0 else inf

    def level(self, stores: Stores) -> float:
        """Depth of the reservoir, m."""
        return stores.reservoir / (DENSITY * self.shape.reservoir_area)

    def column(self, stores: Stores) -> float:
        """Height of the water that drives the fill over the reservoir's floor, m (negative below it)."""
        if self.path.own_port:
            return self.level(stores)
        return stores.coil / (DENSITY * self.shape.column_area) - self.shape.fall

    def still(self, stores: Stores) -> bool:
        """Nothing flows: valve shut and the column as high as the reservoir (to 0.1 mm)."""
        return self.q == 0.0 and (self._weep == inf or abs(self.level(stores) - self.column(stores)) < 1e-4)

    def step(self, stores: Stores, dt: float, opening: float, depth: float, gauge: float) -> float:
        """One step of `dt` s with `depth` m and `gauge` Pa in the chamber. Returns kg moved into it."""
        # Both flows from the state at the start, so that steady flow is the same for every length of step.
        refill = self._refill(stores, dt)
        out = self._outflow(stores, dt, opening, depth, gauge) if opening > 0.0 else 0.0
        if self.path.own_port:
            stores.reservoir -= out
        else:
            stores.reservoir -= refill
            stores.coil += refill - out
        stores.chamber += out
        self.q = out / (DENSITY * dt)
        return out

    def _outflow(self, stores: Stores, dt: float, opening: float, depth: float, gauge: float) -> float:
        """Kg into the chamber, at most what can run out of the one or (backwards) the other."""
        square = self._open if opening == 1.0 else self.path.rest(opening)
        if square == inf:
            return 0.0
        shape = self.shape
        head = shape.fall + self.column(stores) - (depth - shape.probe_depth)
        q = flow(DENSITY * GRAVITY * head - gauge, self.path.linear, square)
        mass = DENSITY * q * dt
        holds = self._over_outlet(stores) if self.path.own_port else stores.coil
        return min(mass, holds) if mass > 0 else max(mass, -stores.chamber)

    def _over_outlet(self, stores: Stores) -> float:
        """Kg in the reservoir that can leave it."""
        return max(0.0, stores.reservoir - self.shape.outlet * DENSITY * self.shape.reservoir_area)

    def _refill(self, stores: Stores, dt: float) -> float:
        """Kg from the reservoir into the column through the weep hole, at most to equal heights."""
        level = self.level(stores)
        difference = level - self.column(stores)
        if self.path.own_port or self._weep == inf or (difference > 0.0 and level <= self.shape.outlet):
            return 0.0
        mass = DENSITY * dt * flow(DENSITY * GRAVITY * difference, 0.0, self._weep)
        limit = difference * DENSITY * self.shape.column_area
        if difference > 0.0:
            return min(mass, limit, (level - self.shape.outlet) * DENSITY * self.shape.reservoir_area)
        return max(mass, limit)
