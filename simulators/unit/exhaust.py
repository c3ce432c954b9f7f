"""The way out after the hold: first the water, then the steam, through the exhaust valve and the condensing coil into
the reservoir. Where fill and exhaust share a port, the chamber filter lies on it too.
"""

from math import sqrt

from simulators.unit.heat import Heat
from simulators.unit.vessel import Vessel
from simulators.unit.water import DENSITY, GRAVITY, ORIFICE, Fill, Stores, flow, kv_of_hole, square_term

RESIDUE = 5e-3  # m of water below the port's edge that stays (invented)
SEATED = 2e-4  # m of water over a weeping seat that keeps air out of it


def area_of_kv(kv: float) -> float:
    """m2 of a sharp hole with this Kv: the inverse of `water.kv_of_hole`."""
    return kv / (3600.0 * ORIFICE * sqrt(2e5 / DENSITY))


def in_series(*areas: float) -> float:
    """m2 of openings one behind the other, for gas: 1/A^2 add up."""
    return 0.0 if min(areas) <= 0.0 else 1.0 / sqrt(sum(1.0 / (area * area) for area in areas))


class Exhaust:
    """Moves water and opens the way for steam while the board exhausts."""

    def __init__(self, hole: float, overflow: float) -> None:
        self._valve = kv_of_hole(hole)
        self._overflow = overflow  # m of depth above which the reservoir reaches the vent line's end

    def kvs(self, fill: Fill) -> tuple[float, ...]:
        """Restrictions on the way out: the shared port's filter, the coil, the valve."""
        path = fill.path
        coil = path.coil
        return (coil, self._valve) if path.own_port else (path.filter, coil, self._valve)

    def step(
        self, dt: float, opens: bool, fill: Fill, depth: float, stores: Stores, heat: Heat, vessel: Vessel
    ) -> None:
        """One step of `dt` s."""
        vessel.exhaust_area = 0.0
        if opens and vessel.sealed:
            kvs = self.kvs(fill)
            if depth > RESIDUE and stores.chamber > 0.0:
                self._push_out(dt, square_term(*kvs) if min(kvs) > 0.0 else 0.0, stores, heat, vessel)
            else:
                vessel.exhaust_area = in_series(*map(area_of_kv, kvs))

    def _push_out(self, dt: float, square: float, stores: Stores, heat: Heat, vessel: Vessel) -> None:
        if square <= 0.0 or vessel.gas.gauge <= 0.0:
            return
        out = min(stores.chamber, DENSITY * dt * flow(vessel.gas.gauge, 0.0, square))
        heat.let_out(out)
        vessel.reservoir.value += out / (stores.reservoir + out) * (heat.water - vessel.reservoir.value)
        stores.chamber -= out
        stores.reservoir += out

    def siphon(self, dt: float, fill: Fill, stores: Stores, heat: Heat, vessel: Vessel) -> None:
        """An overfull reservoir runs back through the vent line that a cycle has primed; the door's gap lets it."""
        over = fill.level(stores) - self._overflow
        if over <= 0.0 or vessel.gap == 0.0 or "vent" in vessel.aside:
            return
        hole = vessel.model.vent.hole * sqrt(vessel.vent_part())
        if hole <= 0.0:
            return
        kilograms = DENSITY * dt * flow(DENSITY * GRAVITY * over, 0.0, square_term(kv_of_hole(hole)))
        kilograms = min(kilograms, over * DENSITY * fill.shape.reservoir_area)
        heat.take_in(kilograms, vessel.reservoir.value)
        stores.reservoir -= kilograms
        stores.chamber += kilograms


def seat_area(area: float, depth: float, plugged: bool) -> float:
    """m2 through which gas leaves by a fill valve that does not shut; water over it keeps the gas in."""
    return 0.0 if plugged or depth > SEATED else area
