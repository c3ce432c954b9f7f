"""One unit under test, put together: its parts' states, and one step of all of them."""

from dataclasses import replace
from math import inf, sin

from simulators.unit.board import Board, Sensed
from simulators.unit.circuits import Circuits
from simulators.unit.exhaust import Exhaust, area_of_kv, seat_area
from simulators.unit.faults import find, gather
from simulators.unit.heat import Heat
from simulators.unit.lag import Lag
from simulators.unit.models import Model
from simulators.unit.own_sensors import OwnSensors
from simulators.unit.steam import Gas
from simulators.unit.valve import Valve
from simulators.unit.valve_feed import DIES_IN
from simulators.unit.vessel import GAP, Vessel
from simulators.unit.water import DENSITY, Cylinder, Fill, Path, Stores, kv_in_series, kv_of_hole

SILL_SECONDS = 0.8  # water runs out of an open chamber into the jug with this time constant (invented)
SEEPING = 0.02  # opening of the fill valve below which the flow is a leak that needs no fine steps
WAVES = ((2.5e-5, 15.7), (2.5e-5, 26.1))  # m and rad/s of the surface at the probe's shield (invented)
MENISCUS = 2e-5  # m by which water holds on to a wetted tip (invented)
NEAR = 2e-4  # m from the probe's tip within which every tick counts
HOSE = 3.0  # Kv in m3/h of a can with a wide hose (invented)
BOTTLE_FAULT = "bottle-vent-shut"  # goes with the bottle
STEEL = 500.0  # J/(kg K), textbook
BADLY_LAID = 4.0  # kg of a load that keeps its water (invented)
USUAL_TRAP = 0.1  # part of its condensate that a load laid as it should be keeps (invented)


class Unit:
    """The state of one unit. `step` moves everything; the fixture writes `joined`, the person `door_shut`."""

    def __init__(self, model: Model) -> None:
        self.model = model
        place = model.place
        ambient = place.ambient
        self.now = 0.0
        self.stirred = False  # a contact or a hand has just changed something: the next step is one tick
        self.present: dict[str, float] = {}  # faults and their severities
        self.shape = Cylinder(model.chamber.diameter, model.chamber.length)
        self.fill = Fill(model.shape, model.path)
        self.stores = Stores(
            reservoir=place.reservoir_depth * DENSITY * model.shape.reservoir_area,
            coil=(place.reservoir_depth + model.shape.fall) * DENSITY * model.shape.column_area,
        )
        self.heat = Heat(model.heat, ambient)
        self.valve = Valve(model.valve, ambient, DIES_IN[model.electrics.rectifier])
        self.board = Board(model.board)
        self.circuits = Circuits(model, self.board, self.valve, self.heat)
        self.joined = self.circuits.joined
        self.vessel = Vessel(model, self.stores, self.heat, self.shape, self.joined)
        self.aside = self.vessel.aside  # filter, bottle, vent; inlet: a can feeds the valve; fill line: plugged
        self.exhaust = Exhaust(model.exhaust_hole, model.overflow)
        self.sensors = OwnSensors(model.sensors, ambient, place.pressure)
        self.load = 0.0  # kg of a load in the chamber
        self.tilt = 0.0  # mm/m that it stands front low now
        self.defects = self.vessel.defects = self.circuits.defects
        self.vent_line = Lag(30.0, ambient)  # Pt100 clipped to it
        self.reference = Lag(6.0, ambient)  # Pt100 of the bench in the chamber
        self.scale = Lag(0.5, 0.0)
        self.depth = 0.0  # m of water at the chamber's middle
        self.probe_wet = False
        self.float_up = False
        self.watts = 0.0

    @property
    def gas(self) -> Gas:
        """Air and steam in the chamber."""
        return self.vessel.gas

    @property
    def steam_lost(self) -> float:
        """Kg of steam that has left the chamber since the start."""
        return self.vessel.lost

    @property
    def door_shut(self) -> bool:
        """Somebody has shut the door."""
        return self.vessel.door_shut

    @door_shut.setter
    def door_shut(self, shut: bool) -> None:
        self.vessel.door_shut = shut
        self.vessel.gap = 0.0

    @property
    def door_locked(self) -> bool:
        """The door's catch is home."""
        return self.vessel.sealed

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
            fault.arrive(self, fault.extent(severity, self.model.name))

    def put_aside(self, part: str, off: bool) -> None:
        """Take a part off, or put it back: filter, bottle; with inlet off, a can's wide hose feeds the valve."""
        (self.aside.add if off else self.aside.discard)(part)
        self._gather()

    def _gather(self) -> None:
        on_it = {n: s for n, s in self.present.items() if not (n == BOTTLE_FAULT and "bottle" in self.aside)}
        self.defects = self.circuits.defects = self.vessel.defects = gather(on_it, self.model.name)
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
        self.board.dry_share = defects.dry_share
        self.sensors.joint_ohm = defects.sensor_ohm
        self.sensors.pascal_off = defects.pressure_off
        self.vessel.trap = min(1.0, USUAL_TRAP + defects.trap)

    def owners_load(self) -> float:
        """Kg of the load that came with the unit, as its owner runs it."""
        return self.defects.load + (BADLY_LAID if self.defects.trap > 0.0 else 0.0)

    def put_load(self, kilograms: float) -> None:
        """A load of so much steel lies in the chamber; 0 takes it out, with the water it holds."""
        self.load = kilograms
        self.heat.put_load(kilograms * STEEL, self.model.place.ambient)
        if kilograms == 0.0 and self.stores.load > 0.0:
            self.heat.let_out(self.stores.load)
            self.stores.removed += self.stores.load
            self.stores.load = 0.0

    def fill_reservoir(self, depth: float) -> None:
        """The reservoir stands at `depth` m from now on, and the coil's column with it."""
        stores, shape = self.stores, self.model.shape
        before = stores.reservoir + stores.coil
        stores.reservoir = depth * DENSITY * shape.reservoir_area
        stores.coil = (depth + shape.fall) * DENSITY * shape.column_area
        stores.poured += stores.reservoir + stores.coil - before

    def drain_chamber(self, kept: float) -> float:
        """Take the water out of the chamber but for `kept` kg of film; returns the kg."""
        taken = max(0.0, self.stores.chamber - kept)
        self.heat.let_out(taken)
        self.stores.chamber -= taken
        self._look_at_level()
        return taken

    def pour_into_chamber(self, kilograms: float) -> None:
        """Water of the room's warmth is poured into the chamber by hand."""
        self.heat.take_in(kilograms, self.model.place.ambient)
        self.stores.chamber += kilograms
        self.stores.poured += kilograms
        self._look_at_level()

    def _look_at_level(self) -> None:
        self.depth = self.shape.depth(self.stores.chamber / DENSITY)
        self.settle_level()

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
        if self.board.exhausts or (self.joined.air_supply and self.vessel.sealed):
            return 5
        hot = self.board.running or self.watts > 0.0 or abs(self.heat.metal - ambient) > 3.0
        if hot or not self.fill.still(stores):
            return 10
        return 25 if self.heat.active(ambient) else 50

    def _near_the_probe(self) -> bool:
        """The surface may touch or leave the probe's tip soon."""
        return -NEAR < self.depth - self._tip() < NEAR

    # ---- one step -----------------------------------------------------------------------------------------

    def step(self, dt: float) -> None:
        """Everything moves by `dt` s, from `now`."""
        self.circuits.load_mains()
        loop, sensors = self.circuits.level_loop(self.probe_wet), self.sensors
        self.board.step(dt, self.joined.mains, Sensed(loop, sensors.celsius(), sensors.pascal(), self.door_shut))
        self.circuits.feed.step(self.now, dt)
        if self.board.releases_door and self.door_shut:  # it stays released until somebody shuts it
            self.vessel.gap = GAP * self.defects.door_release
        self._move_water(dt)
        self._move_heat(dt)
        self.vessel.step(dt)
        self._sense(dt)
        self.settle_level()
        self.stirred = False
        self.now += dt

    def _move_water(self, dt: float) -> None:
        stores, heat = self.stores, self.heat
        plugged = "fill line" in self.aside
        leak = 0.0 if plugged else self.defects.seat_leak
        opening = 0.0 if plugged else max(self.valve.opening, leak)
        if opening > 0.0 or not self.fill.still(stores):
            moved = self.fill.step(stores, dt, opening, self.depth, self.gas.gauge)
            if moved > 0.0:
                heat.take_in(moved, self.vessel.reservoir.value)
            elif moved < 0.0:
                heat.let_out(-moved)
        if self.joined.jug and not self.door_shut and stores.chamber > 0.0:
            part = stores.chamber * min(1.0, dt / SILL_SECONDS) if stores.chamber > 1e-6 else stores.chamber
            heat.let_out(part)
            stores.chamber -= part
            stores.jug += part
        self.exhaust.step(dt, self.board.exhausts, self.fill, self.depth, stores, heat, self.vessel)
        if leak > 0.0:
            hole = area_of_kv(self.fill.path.valve * leak)
            self.vessel.exhaust_area += seat_area(hole, self.depth, plugged)
        self.exhaust.siphon(dt, self.fill, stores, heat, self.vessel)
        self.depth = self.shape.depth(stores.chamber / DENSITY) if stores.chamber > 0.0 else 0.0

    def _move_heat(self, dt: float) -> None:
        ambient, stores, heat = self.model.place.ambient, self.stores, self.heat
        self.watts = self.circuits.heater_watts()
        if self.watts > 0.0 or heat.active(ambient):
            # Under an open door warmer water fills no room with steam.
            steam, room = (stores.steam, self.gas.volume) if self.vessel.sealed else (0.0, 0.0)
            heat.step(dt, self.watts, stores.chamber + stores.load, steam, self.depth, room, ambient)

    def _sense(self, dt: float) -> None:
        ambient, inside = self.model.place.ambient, self.gas.celsius
        self.reference.step(dt, inside)
        self.sensors.step(dt, inside, self.gas.pressure)
        self.vent_line.step(dt, ambient + 0.9 * (inside - ambient) * self.vessel.vent_warmth())
        self.scale.step(dt, 1000.0 * self.stores.jug)
        self.vessel.reservoir.step(dt, ambient)

    def _tip(self) -> float:
        """Depth of water at the chamber's middle that reaches the probe's tip in the rear wall, m: out of level, the
        surface stands off the floor there by half a chamber's length of tilt."""
        level = self.model.shape.probe_depth * (1.0 + self.defects.probe_shift)
        return level + 1e-3 * self.tilt * self.model.chamber.length / 2.0

    def settle_level(self) -> None:
        """Probe and float. Waves of the inflow make the first contact bounce for a moment."""
        wave = 0.0
        if self.fill.q > 0.0:
            for (size, rate), phase in zip(WAVES, self.model.ripple, strict=True):
                wave += size * sin(rate * self.now + phase)
        tip = self._tip()
        self.probe_wet = self.depth + wave > (tip - MENISCUS if self.probe_wet else tip)
        trips = self.model.chamber.float_trips
        self.float_up = self.depth > (trips - 2e-3 if self.float_up else trips)

    def probe_ohm(self) -> float:
        """Ohm from the probe's terminal to the chamber wall now."""
        return self.circuits.probe_ohm(self.probe_wet)
