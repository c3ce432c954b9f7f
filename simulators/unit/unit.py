"""One unit under test, put together: its parts' states, and one step of all of them."""

from dataclasses import replace
from math import inf, pi, sin

from simulators.unit.bench_air import BenchAir
from simulators.unit.board import Board
from simulators.unit.circuits import Circuits
from simulators.unit.electrics import pt100
from simulators.unit.faults import find, gather
from simulators.unit.heat import Heat
from simulators.unit.lag import Lag
from simulators.unit.models import Model
from simulators.unit.steam import (
    GAS_VAPOUR,
    KELVIN,
    SPECIFIC_HEAT_WATER,
    Gas,
    latent_heat,
    saturation_pressure,
)
from simulators.unit.valve import Valve
from simulators.unit.valve_feed import DIES_IN
from simulators.unit.water import DENSITY, Cylinder, Fill, Path, Stores, kv_in_series, kv_of_hole

NEVER = 1e-9  # kg of water that does not count
SILL_SECONDS = 0.8  # water runs out of an open chamber into the jug with this time constant (invented)
SEEPING = 0.02  # opening of the fill valve below which the flow is a leak that needs no fine steps
WAVES = ((2.5e-5, 15.7), (2.5e-5, 26.1))  # m and rad/s of the surface at the probe's shield (invented)
MENISCUS = 2e-5  # m by which water holds on to a wetted tip (invented)
NEAR = 2e-4  # m from the probe's tip within which every tick counts
RELIEF_HOLE = 4e-3  # m (invented)
HOSE = 3.0  # Kv in m3/h of a can with a wide hose (invented)
BOTTLE_FAULT = "bottle-vent-shut"  # goes with the bottle


class Unit:
    """The state of one unit. `step` moves everything; the fixture writes `joined`, the person `door_shut`."""

    def __init__(self, model: Model) -> None:
        self.model = model
        place = model.place
        ambient = place.ambient
        self.now = 0.0
        self.door_shut = False
        self.air = BenchAir(model.place.pressure)
        self._aired = True  # the chamber holds room air
        self.stirred = False  # a contact or a hand has just changed something: the next step is one tick
        self.present: dict[str, float] = {}  # faults and their severities
        self.aside: set[str] = set()  # parts that lie beside the unit: filter, bottle; inlet: a can feeds the valve
        self.shape = Cylinder(model.chamber.diameter, model.chamber.length)
        self.fill = Fill(model.shape, model.path)
        self.stores = Stores(
            reservoir=place.reservoir_depth * DENSITY * model.shape.reservoir_area,
            coil=(place.reservoir_depth + model.shape.fall) * DENSITY * model.shape.column_area,
        )
        self.gas = Gas(self.shape.volume, place.pressure, ambient)
        self.stores.steam = self.gas.vapour_mass()
        self.heat = Heat(model.heat, ambient)
        self.valve = Valve(model.valve, ambient, DIES_IN[model.electrics.rectifier])
        self.board = Board(model.board)
        self.circuits = Circuits(model, self.board, self.valve, self.heat)
        self.joined = self.circuits.joined
        self.defects = self.circuits.defects
        self.reservoir = Lag(10800.0, ambient)  # its water's temperature
        self.gas_lag = Lag(3.0, ambient)
        self.bellows = Lag(model.vent.lag, ambient)
        self.vent_line = Lag(30.0, ambient)  # Pt100 clipped to it
        self.reference = Lag(6.0, ambient)  # Pt100 of the bench in the chamber
        self.sensor = Lag(5.0, ambient)  # the unit's own
        self.scale = Lag(0.5, 0.0)
        self.depth = 0.0  # m of water at the chamber's middle
        self.probe_wet = False
        self.float_up = False
        self.watts = 0.0
        self.steam_lost = 0.0  # kg through vent and gasket since the start

    @property
    def door_locked(self) -> bool:
        """The door's latch is home."""
        return self.door_shut

    # ---- faults -------------------------------------------------------------------------------------------

    def set_fault(self, name: str, severity: float) -> None:
        """Put a fault in, change it, or take it out (0). Raises UnknownName, NotPossible, ValueError."""
        fault = find(name, self.model.name)
        if not 0.0 <= severity <= 1.0:
            raise ValueError(f"severity of {name} is {severity}; it runs from 0 to 1")
        self.present.pop(name, None)
        if severity > 0.0:
            self.present[name] = severity
        self._gather()
        if fault.arrive is not None:
            fault.arrive(self, severity)

    def put_aside(self, part: str, off: bool) -> None:
        """Take a part off, or put it back: filter, bottle; with inlet off, a can's wide hose feeds the valve."""
        (self.aside.add if off else self.aside.discard)(part)
        self._gather()

    def _gather(self) -> None:
        on_it = {n: s for n, s in self.present.items() if not (n == BOTTLE_FAULT and "bottle" in self.aside)}
        self.defects = self.circuits.defects = gather(on_it)
        self._take_over()

    def _path(self) -> Path:
        defects, path = self.defects, self.model.path
        whole = replace(
            path,
            weep=path.weep * defects.weep_open,
            coil=kv_in_series(path.coil, kv_of_hole(defects.coil_bore)),
            filter=path.filter * defects.filter_open,
            tube=kv_in_series(path.tube, kv_of_hole(defects.tube_bore)),
        )
        if "filter" in self.aside:
            whole = replace(whole, filter=inf)
        return replace(whole, weep=HOSE, coil=HOSE, tube=path.tube) if "inlet" in self.aside else whole

    def _take_over(self) -> None:
        """Write the defects' amounts into the parts."""
        defects, coil = self.defects, self.model.valve
        self.fill.change(self._path())
        kept = 1.0 - defects.shorted_turns
        self.valve.coil = replace(
            coil,
            ohm_20=coil.ohm_20 * kept,
            force_constant=coil.force_constant * kept * kept,
            preload=coil.preload * defects.spring,
            rate=coil.rate * defects.spring,
        )
        self.valve.joint = defects.winding_joint_ohm
        self.valve.grip = defects.plunger_grip * coil.holds
        self.heat.element_joint = defects.element_joint_ohm
        self.heat.contact = defects.heater_contact
        self.heat.early = defects.cut_out_early

    def fill_reservoir(self, depth: float) -> None:
        """The reservoir stands at `depth` m from now on, and the coil's column with it."""
        stores, shape = self.stores, self.model.shape
        before = stores.reservoir + stores.coil
        stores.reservoir = depth * DENSITY * shape.reservoir_area
        stores.coil = (depth + shape.fall) * DENSITY * shape.column_area
        stores.poured += stores.reservoir + stores.coil - before

    # ---- pace ---------------------------------------------------------------------------------------------

    def pace(self) -> int:
        """How many ticks of the grid the next step may span, from the state alone."""
        stores, flows = self.stores, self.fill.q != 0.0
        if self.stirred or self.valve.moving or self.board.checking or (flows and self._near_the_probe()):
            return 1
        ambient = self.model.place.ambient
        if (
            self.valve.opening > SEEPING
            or self.board.drives_valve
            or (self.joined.jug and stores.chamber > 0.0)
            or abs(self.scale.value - 1000.0 * stores.jug) > 0.05
        ):
            return 5
        hot = self.board.running or self.watts > 0.0 or abs(self.heat.metal - ambient) > 3.0
        if hot or not self.fill.still(stores):
            return 10
        return 25 if self.heat.active(ambient) else 50

    def _near_the_probe(self) -> bool:
        """The surface may touch or leave the probe's tip soon."""
        return -NEAR < self.depth - self.model.shape.probe_depth < NEAR

    # ---- one step -----------------------------------------------------------------------------------------

    def step(self, dt: float) -> None:
        """Everything moves by `dt` s, from `now`."""
        self.circuits.load_mains()
        loop = self.circuits.level_loop(self.probe_wet)
        self.board.step(dt, self.joined.mains, loop, self.sensor.value, self.door_shut)
        self.circuits.feed.step(self.now, dt)
        self._move_water(dt)
        self._move_heat(dt)
        self._settle_gas(dt)
        self._sense(dt)
        self.settle_level()
        self.stirred = False
        self.now += dt

    def _move_water(self, dt: float) -> None:
        stores = self.stores
        opening = max(self.valve.opening, self.defects.seat_leak)
        if opening > 0.0 or not self.fill.still(stores):
            moved = self.fill.step(stores, dt, opening, self.depth, self.gas.gauge)
            if moved > 0.0:
                self.heat.take_in(stores.chamber, moved, self.reservoir.value)
        if self.joined.jug and not self.door_shut and stores.chamber > 0.0:
            part = stores.chamber * min(1.0, dt / SILL_SECONDS) if stores.chamber > 1e-6 else stores.chamber
            stores.chamber -= part
            stores.jug += part
        self.depth = self.shape.depth(stores.chamber / DENSITY) if stores.chamber > 0.0 else 0.0

    def _move_heat(self, dt: float) -> None:
        ambient = self.model.place.ambient
        self.watts = self.circuits.heater_watts()
        if self.watts > 0.0 or self.heat.active(ambient):
            self.heat.step(dt, self.watts, self.stores.chamber, self.depth, self.gas.volume, ambient)

    def _settle_gas(self, dt: float) -> None:
        """Vapour follows the water, air the volume and the warmth; then vent and gasket let both past."""
        stores, gas, heat = self.stores, self.gas, self.heat
        volume = self.shape.volume - stores.chamber / DENSITY
        if volume != gas.volume:
            gas.squeeze(volume)
        wet = stores.chamber > NEVER
        self.gas_lag.step(dt, max(heat.water, heat.metal) if wet else heat.metal)
        if self.gas_lag.value != gas.celsius:
            gas.warm(self.gas_lag.value)
        density = GAS_VAPOUR * (gas.celsius + KELVIN) / gas.volume
        if wet and self.door_shut:
            wanted = saturation_pressure(heat.water) / density
            evaporated = min(wanted - stores.steam, stores.chamber)
            stores.chamber -= evaporated
            stores.steam += evaporated
            if self._aired:  # the heat of filling a fresh chamber; later changes are in the water's capacity
                heat.evaporate(evaporated, stores.chamber, gas.volume)
                self._aired = False
        gas.vapour = stores.steam * density
        if self.door_shut:
            self._vent(dt)
        else:
            self._air_out()

    def _vent(self, dt: float) -> None:
        stores, gas = self.stores, self.gas
        if self.air.moves(self.joined, gas.gauge):
            self.air.step(dt, gas, self.joined)
        vent, elsewhere = self.openings()
        left = min(gas.breathe(dt, vent + elsewhere), stores.steam)
        if left <= 0.0:
            return
        condensed = left * vent / (vent + elsewhere)  # in the coil that lies in the reservoir
        stores.steam -= left
        stores.reservoir += condensed
        stores.room -= left - condensed
        self.steam_lost += left
        self.heat.evaporate(left, stores.chamber, gas.volume)
        heat = condensed * latent_heat(gas.celsius)
        self.reservoir.value += heat / (stores.reservoir * SPECIFIC_HEAT_WATER)

    def _air_out(self) -> None:
        """The door stands open: room air in the chamber, saturated at its own temperature, and no more."""
        self._aired = True
        damp = saturation_pressure(self.model.place.ambient)
        mass = damp * self.gas.volume / (GAS_VAPOUR * (self.gas.celsius + KELVIN))
        self.stores.room += mass - self.stores.steam
        self.stores.steam = mass
        self.gas.vapour = damp
        self.gas.open_door()

    def openings(self) -> tuple[float, float]:
        """m2 open to the outside: through the vent as its bellows leaves it; at gasket and relief valve."""
        vent, defects, gas = self.model.vent, self.defects, self.gas
        shut = (self.bellows.value - vent.closes) / vent.width + 0.5
        part = min(1.0, max(defects.vent_stuck, 1.0 - shut)) * defects.vent_open
        squares = defects.gasket_hole**2
        if gas.pressure - gas.ambient < vent.gasket_closes:
            squares += vent.gasket_hole**2
        if gas.pressure > vent.relief:
            squares += RELIEF_HOLE**2
        bench = self.air.area(self.joined, gas.pressure - gas.ambient)
        return (0.0 if "vent" in self.aside else part * vent.hole**2 * pi / 4), squares * pi / 4 + bench

    def _sense(self, dt: float) -> None:
        ambient, inside = self.model.place.ambient, self.gas.celsius
        self.reference.step(dt, inside)
        self.sensor.step(dt, inside)
        self.bellows.step(dt, inside if self.door_shut else ambient)
        self.vent_line.step(dt, ambient + 0.9 * (inside - ambient) * self._steam_share())
        self.scale.step(dt, 1000.0 * self.stores.jug)
        self.reservoir.step(dt, ambient)

    def _steam_share(self) -> float:
        """Part of the chamber's warmth that the vent line takes on: that of steam in what flows past it."""
        gas = self.gas
        flows = gas.gauge > 100.0 and self.bellows.value < self.model.vent.closes + self.model.vent.width
        return gas.vapour / gas.pressure if flows or self.defects.vent_stuck > 0.0 else 0.0

    def settle_level(self) -> None:
        """Probe and float. Waves of the inflow make the first contact bounce for a moment."""
        wave = 0.0
        if self.fill.q > 0.0:
            for (size, rate), phase in zip(WAVES, self.model.ripple, strict=True):
                wave += size * sin(rate * self.now + phase)
        tip = self.model.shape.probe_depth
        self.probe_wet = self.depth + wave > (tip - MENISCUS if self.probe_wet else tip)
        trips = self.model.chamber.float_trips
        self.float_up = self.depth > (trips - 2e-3 if self.float_up else trips)

    def sensor_ohm(self) -> float:
        """Ohm of the unit's own temperature sensor at its plug."""
        return pt100(self.sensor.value)

    def probe_ohm(self) -> float:
        """Ohm from the probe's terminal to the chamber wall now."""
        return self.circuits.probe_ohm(self.probe_wet)
