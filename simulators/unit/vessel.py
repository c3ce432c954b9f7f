"""The chamber's gas and steam: what warms it, what lets it out and where that goes, the door, a load, drying."""

from math import pi

from simulators.unit.bench_air import BenchAir
from simulators.unit.defects import Defects
from simulators.unit.heat import NOTHING, Heat, enthalpy
from simulators.unit.lag import Lag
from simulators.unit.models import Model
from simulators.unit.steam import GAS_VAPOUR, KELVIN, SPECIFIC_HEAT_WATER, Gas, latent_heat, saturation_pressure
from simulators.unit.valve_feed import Connections
from simulators.unit.water import DENSITY, Cylinder, Stores

RELIEF_HOLE = 4e-3  # m (invented)
GAP = 8e-3  # m of the door's gap in the dry phase (invented)
ENOUGH = 0.4  # of that gap is as good as all of it
DRIES = 7.5e-10  # kg/(s Pa) of water through the gap (invented)
LOAD_DRIES = 3e-10  # the same out of a load (invented)


class Vessel:
    """Holds gas and door; takes from and gives to the stores and the heat that it shares with the unit."""

    def __init__(self, model: Model, stores: Stores, heat: Heat, shape: Cylinder, joined: Connections) -> None:
        ambient = model.place.ambient
        self.model = model
        self.defects = Defects()
        self.aside: set[str] = set()  # parts that lie beside the unit
        self.door_shut = False
        self.gap = 0.0  # m that the door stands open for drying
        self.exhaust_area = 0.0  # m2 open to the exhaust, for gas
        self.volume = shape.volume
        self.gas = Gas(shape.volume, model.place.pressure, ambient)
        self.air = BenchAir(model.place.pressure)
        self.bellows = Lag(model.vent.lag, ambient)
        self.trap = 0.0  # part of what condenses on a load that stays in it
        self.lost = 0.0  # kg of steam that left the chamber since the start
        self.reservoir = Lag(10800.0, ambient)  # its water's temperature
        self._stores, self._heat, self._joined = stores, heat, joined
        self._gas_lag = Lag(3.0, ambient)
        self._aired = True  # the chamber holds room air
        self._metal = ambient  # at the last step, for what condenses on the load
        stores.steam = self.gas.vapour_mass()

    @property
    def sealed(self) -> bool:
        """The door is shut, all of it."""
        return self.door_shut and self.gap == 0.0

    # ---- one step -----------------------------------------------------------------------------------------

    def step(self, dt: float) -> None:
        """Vapour follows the water, air the volume and the warmth; then what is open lets both past."""
        stores, gas, heat = self._stores, self.gas, self._heat
        volume = self.volume - stores.chamber / DENSITY
        if volume != gas.volume:
            gas.squeeze(volume)
        self._gas_lag.step(dt, max(heat.water, heat.metal) if stores.chamber > NOTHING else heat.metal)
        if self._gas_lag.value != gas.celsius:
            gas.warm(self._gas_lag.value)
        if self.sealed:
            self._shut(dt)
        else:
            self._open(dt)
        self.bellows.step(dt, gas.celsius if self.sealed else self.model.place.ambient)

    def _shut(self, dt: float) -> None:
        stores, gas, heat = self._stores, self.gas, self._heat
        kelvin = gas.celsius + KELVIN
        if self._aired:
            heat.carry(stores.steam * enthalpy(self.model.place.ambient))
            self._aired = False
            self._metal = heat.metal
        total = stores.chamber + stores.load + stores.steam
        stores.steam = heat.settle(total, gas.volume, kelvin)
        self._hold_in_load(total - stores.steam)
        gas.vapour = stores.steam * GAS_VAPOUR * kelvin / gas.volume
        self._vent(dt)

    def _hold_in_load(self, liquid: float) -> None:
        """What condenses on a load as it warms stays in it in part; the rest runs down to the water."""
        stores, heat = self._stores, self._heat
        if heat.load > 0.0 and heat.metal > self._metal:
            stores.load += self.trap * heat.load * (heat.metal - self._metal) / latent_heat(heat.water)
        self._metal = heat.metal
        stores.load = min(stores.load, liquid)
        stores.chamber = liquid - stores.load

    def _vent(self, dt: float) -> None:
        stores, gas = self._stores, self.gas
        if self.air.moves(self._joined, gas.gauge):
            self.air.step(dt, gas, self._joined)
        vent, exhaust, elsewhere = self.openings()
        left = min(gas.breathe(dt, vent + exhaust + elsewhere), stores.steam)
        if left <= 0.0:
            return
        self._heat.steam_out(left)
        stores.steam -= left
        self.lost += left
        kept = left / (vent + exhaust + elsewhere)
        into_reservoir = kept * exhaust
        if self.model.vent.bottle:
            stores.bottle += kept * vent
        else:
            into_reservoir += kept * vent
        stores.reservoir += into_reservoir
        stores.room -= kept * elsewhere
        self.reservoir.value += into_reservoir * latent_heat(gas.celsius) / (stores.reservoir * SPECIFIC_HEAT_WATER)

    def _open(self, dt: float) -> None:
        """Room air in the chamber, saturated at its own temperature, and no more; through a gap water dries off."""
        stores, gas, heat, place = self._stores, self.gas, self._heat, self.model.place
        if not self._aired:
            heat.steam_out(stores.steam)
            self._aired = True
        damp = saturation_pressure(place.ambient)
        mass = damp * gas.volume / (GAS_VAPOUR * (gas.celsius + KELVIN))
        stores.room += mass - stores.steam
        stores.steam = mass
        gas.vapour = damp
        gas.open_door()
        heat.settle_open(stores.chamber + stores.load)
        if self.gap > 0.0 and stores.chamber + stores.load > 0.0:
            drive = max(0.0, saturation_pressure(heat.water) - damp) * dt * min(1.0, self.gap / (ENOUGH * GAP))
            off, out = min(stores.chamber, DRIES * drive), min(stores.load, LOAD_DRIES * drive)
            cold = (stores.chamber + stores.load) * SPECIFIC_HEAT_WATER * place.ambient
            most = max(0.0, 0.5 * (heat.energy - cold) / enthalpy(heat.water))  # it cools what stays no further
            if off + out > most:
                off, out = off * most / (off + out), out * most / (off + out)
            heat.steam_out(off + out)
            stores.chamber -= off
            stores.load -= out
            stores.room -= off + out

    # ---- what is open -------------------------------------------------------------------------------------

    def vent_part(self) -> float:
        """Part of the vent's hole that its bellows leaves open."""
        vent, defects = self.model.vent, self.defects
        shut = (self.bellows.value - vent.closes) / vent.width + 0.5
        if "vent held" in self.aside:
            shut = 1.0
        return min(1.0, max(defects.vent_stuck, 1.0 - shut)) * defects.vent_open

    def openings(self) -> tuple[float, float, float]:
        """m2 open: through the vent, through the exhaust, and to the room at gasket, joints, glands and relief."""
        vent, defects, gas = self.model.vent, self.defects, self.gas
        gauge = gas.pressure - gas.ambient
        through = self.vent_part() * vent.hole**2 + defects.vent_seat_hole**2
        squares = defects.gasket_hole**2 + defects.door_hole**2 + defects.fitting_hole**2 + defects.gland_hole**2
        if gauge < vent.gasket_closes:
            squares += vent.gasket_hole**2
        if gas.pressure > vent.relief:
            squares += RELIEF_HOLE**2
        elif gauge > defects.relief_weeps:
            squares += defects.relief_hole**2
        bench = self.air.area(self._joined, gauge)
        return 0.0 if "vent" in self.aside else through * pi / 4, self.exhaust_area, squares * pi / 4 + bench

    def vent_warmth(self) -> float:
        """Part of the chamber's warmth that the vent line takes on: that of steam in what flows past it."""
        gas, vent = self.gas, self.model.vent
        flows = gas.gauge > 100.0 and self.bellows.value < vent.closes + vent.width
        hot = flows or self.defects.vent_stuck > 0.0 or self.defects.vent_seat_hole > 1e-4
        return gas.vapour / gas.pressure if hot and "vent" not in self.aside else 0.0
