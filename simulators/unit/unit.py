"""One unit under test, put together: its parts' states, and one step of all of them."""

from dataclasses import dataclass, replace
from math import inf, pi, sin

from simulators.unit.board import Board
from simulators.unit.electrics import bridge_mean, parallel, water_ohm
from simulators.unit.faults import Defects, find, gather
from simulators.unit.heat import Heat, Lag
from simulators.unit.models import Model
from simulators.unit.steam import GAS_VAPOUR, KELVIN, Gas, latent_heat, saturation_pressure
from simulators.unit.valve import Valve
from simulators.unit.water import DENSITY, Cylinder, Fill, Stores

RATED_VOLTS = 230.0
SHUNT_OHM = 0.1  # the fixture's shunt in the valve's lead
DUMMY_OHM = 57.6  # the fixture's resistor of the valve's power
HEATER_LEAD_OHM = 0.05  # plug to heater, both ways
NEVER = 1e-9  # kg of water that does not count


@dataclass
class Connections:
    """What the fixture does to the unit: contacts closed, feeds, covers, jug."""

    mains: bool = False
    heater_enable: bool = False
    heater_leads: bool = True
    to_bench: bool = False
    bench_feed: bool = False  # the fill valve's feed contact
    bench_volts: float = 0.0  # DC behind `bench_ohm` on the bench bus
    dummy: bool = False
    jug: bool = False


class Unit:
    """The state of one unit. `step` moves everything by dt; the fixture writes `joined`, the person `door_shut`."""

    def __init__(self, model: Model) -> None:
        self.model = model
        place = model.place
        self.joined = Connections()
        self.door_shut = False
        self.defects = Defects()
        self.present: dict[str, float] = {}
        self.shape = Cylinder(model.chamber.diameter, model.chamber.length)
        self.fill = Fill(model.shape, model.path)
        depth = place.reservoir_depth
        self.stores = Stores(
            reservoir=depth * DENSITY * model.shape.reservoir_area,
            coil=(depth + model.shape.fall) * DENSITY * model.shape.column_area,
        )
        self.gas = Gas(self.shape.volume, place.pressure, place.ambient)
        self.stores.steam = self.gas.vapour_mass()
        self.heat = Heat(model.heat, place.ambient)
        self.valve = Valve(model.valve, place.ambient)
        self.valve.surroundings = place.ambient
        self.board = Board(model.board)
        self.reservoir_celsius = place.ambient
        self.bellows = Lag(model.vent.lag, place.ambient)
        self.vent_line = Lag(20.0, place.ambient)
        self.gas_lag = Lag(3.0, place.ambient)
        self.reference = Lag(6.0, place.ambient)  # Pt100 of the bench in the chamber
        self.sensor = Lag(5.0, place.ambient)  # the unit's own
        self.scale = Lag(0.5, 0.0)
        self.wander = 1.0  # the mains' own deviation, a factor
        self.mains_volts = place.supply.volts
        self.watts = 0.0
        self.wave = 0.0  # m at the probe now
        self.probe_wet = False
        self.float_up = False
        self.board_volts = 0.0  # AC at the board's output terminals
        self.depth = 0.0
        self.steam_lost = 0.0  # kg through the vent and the gasket
        self.now = 0.0

    # ---- faults -------------------------------------------------------------------------------------------

    def set_fault(self, name: str, severity: float) -> None:
        """Put a fault in, change it, or take it out (0). Raises UnknownName, NotPossible, ValueError."""
        fault = find(name, self.model.name)
        if not 0.0 <= severity <= 1.0:
            raise ValueError(f"severity of {name} is {severity}; it runs from 0 to 1")
        if severity == 0.0:
            self.present.pop(name, None)
        else:
            self.present[name] = severity
        self.defects = gather(self.present)
        if fault.arrive is not None:
            fault.arrive(self, severity)
        self._take_over()

    def _take_over(self) -> None:
        """Write the defects' amounts into the parts."""
        defects = self.defects
        path = self.model.path
        self.fill.change(replace(path, filter=path.filter * defects.filter_open))
        self.valve.joint = defects.winding_joint_ohm
        self.valve.grip = defects.plunger_grip
        self.heat.joint = defects.heater_joint_ohm

    # ---- what can be measured -----------------------------------------------------------------------------

    def wet_ohm(self) -> float:
        """Ohm from the probe's terminal to the chamber wall, AC: deposit and water, beside the film."""
        electrics = self.model.electrics
        if not self.probe_wet:
            return electrics.film_ohm
        water = water_ohm(electrics.cell, self.conductivity(), self.heat.water)
        return parallel(electrics.film_ohm, water + self.defects.probe_deposit_ohm)

    def level_loop(self) -> float:
        """Ohm of the board's level loop: probe, water, wall, reference joint, and its own input."""
        return self.wet_ohm() + self.defects.ground_ohm + self.defects.level_input_ohm

    def conductivity(self) -> float:
        """Of the water, uS/cm at 25 Cel."""
        return self.model.place.conductivity * self.defects.conductivity

    def harness_ohm(self) -> float:
        """The fill valve's lead, out and back."""
        return self.model.electrics.harness_ohm + self.defects.harness_ohm

    def board_emf(self) -> float:
        """Mean DC volts that the board's output gives after the rectifier, without load."""
        if not (self.board.drives_valve and self.joined.mains):
            return 0.0
        secondary = self.model.electrics.secondary * self.mains_volts / RATED_VOLTS
        return bridge_mean(secondary, self.defects.rectifier_paths)

    def plug_volts(self) -> float:
        """DC at the valve's plug, on the board's side of the changeover."""
        emf = self.board_emf()
        if emf == 0.0:
            return 0.0
        load = DUMMY_OHM if self.joined.dummy else inf
        if not self.joined.to_bench:
            load = parallel(load, self.valve.ohms + SHUNT_OHM)
        source = self.model.electrics.output_ohm + self.defects.output_ohm + self.harness_ohm()
        if load == inf:
            return emf if source < inf else 0.0
        return emf * load / (load + source)

    def heater_on(self) -> bool:
        """Every contact in the heater's lead is closed."""
        joined = self.joined
        return (
            joined.mains
            and joined.heater_enable
            and joined.heater_leads
            and self.board.wants_heat
            and not self.heat.tripped
        )

    def heater_volts(self) -> float:
        """AC at the heater's terminals."""
        if not self.heater_on():
            return 0.0
        ohms = self.heat.heater_ohms()
        return self.mains_volts if ohms == inf else self.mains_volts * ohms / (ohms + HEATER_LEAD_OHM)

    def heater_amps(self) -> float:
        """AC in the heater's lead."""
        return self.heater_volts() / self.heat.heater_ohms()

    def supply_amps(self) -> float:
        """AC into the unit."""
        if not self.joined.mains:
            return 0.0
        valve = self.valve.amps * self.board_emf() / self.mains_volts if not self.joined.to_bench else 0.0
        return self.model.electrics.idle_amps + valve + self.heater_amps()

    def liquid_volume(self) -> float:
        """Water in the chamber, m3."""
        return self.stores.chamber / DENSITY

    # ---- pace ---------------------------------------------------------------------------------------------

    def pace(self) -> int:
        """How many ticks of the grid the next step may span, from the state alone."""
        joined = self.joined
        if (
            self.valve.moving
            or self.board.quick
            or (joined.to_bench and joined.bench_feed and joined.bench_volts > 0.0)
            or self.fill.q != 0.0
            or (joined.jug and self.stores.chamber > 0.0)
        ):
            return 1
        ambient = self.model.place.ambient
        if self.watts > 0.0 or self.board.running or not self.fill.still(self.stores):
            return 5
        if abs(self.heat.metal - ambient) > 3.0 or abs(self.scale.value - 1000.0 * self.stores.jug) > 0.05:
            return 5
        return 25 if self.heat.active(ambient) or self.wave != 0.0 else 50

    # ---- one step -----------------------------------------------------------------------------------------

    def step(self, dt: float) -> None:
        """Everything moves by `dt` s, from `now`."""
        joined = self.joined
        self._mains()
        self.board.step(dt, joined.mains, self.level_loop(), self.sensor.value, self.door_shut)
        self._drive_valve(dt)
        self._move_water(dt)
        if self.watts > 0.0 or self.heater_on() or self.heat.active(self.model.place.ambient):
            self._move_heat(dt)
        self._settle_gas(dt)
        self._sense(dt)
        self.now += dt

    def _mains(self) -> None:
        supply = self.model.place.supply
        ohms = self.heat.heater_ohms() + HEATER_LEAD_OHM if self.heater_on() else inf
        self.mains_volts = supply.loaded(self.wander, ohms)

    def _drive_valve(self, dt: float) -> None:
        joined = self.joined
        electrics = self.model.electrics
        self.board_volts = 0.0
        if joined.mains and self.board.drives_valve and self.defects.output_ohm < 1e4:
            self.board_volts = electrics.secondary * self.mains_volts / RATED_VOLTS
        if joined.to_bench:
            driven = joined.bench_feed and joined.bench_volts > 0.0
            self.valve.step(self.now, dt, driven, joined.bench_volts, self.model.place.bench_ohm + SHUNT_OHM)
            return
        emf = self.board_emf()
        source = electrics.output_ohm + self.defects.output_ohm + self.harness_ohm()
        self.valve.step(self.now, dt, emf > 0.0, emf, source + SHUNT_OHM)

    def _move_water(self, dt: float) -> None:
        stores = self.stores
        opening = self.valve.opening
        if opening > 0.0 or not self.fill.still(stores) or self.fill.q != 0.0:
            moved = self.fill.step(stores, dt, opening, self.depth, self.gas.gauge)
            if moved > 0.0:
                self.heat.take_in(stores.chamber, moved, self.reservoir_celsius)
        if self.joined.jug and not self.door_shut and stores.chamber > 0.0:
            part = stores.chamber * min(1.0, dt / 0.8)  # runs out over the sill within a second
            part = stores.chamber if stores.chamber < 1e-6 else part
            stores.chamber -= part
            stores.jug += part
        self.depth = self.shape.depth(stores.chamber / DENSITY) if stores.chamber > 0.0 else 0.0

    def _move_heat(self, dt: float) -> None:
        volts = self.heater_volts()
        self.watts = volts * self.heater_amps()
        ohms = self.heat.heater_ohms()
        inside = (ohms - self.heat.joint) / ohms if ohms < inf else 0.0
        place = self.model.place
        self.heat.step(
            dt, self.watts * inside, self.stores.chamber, self.depth, self.gas.volume, place.ambient
        )

    def _settle_gas(self, dt: float) -> None:
        """Vapour follows the water, air the volume and the warmth; then vent and gasket let some of both past."""
        stores, gas, heat = self.stores, self.gas, self.heat
        volume = self.shape.volume - stores.chamber / DENSITY
        if volume != gas.volume:
            gas.squeeze(volume)
        wet = stores.chamber > NEVER
        self.gas_lag.step(dt, max(heat.water, heat.metal) if wet else heat.metal)
        if self.gas_lag.value != gas.celsius:
            gas.warm(self.gas_lag.value)
        density = GAS_VAPOUR * (gas.celsius + KELVIN) / gas.volume
        if wet:
            gas.vapour = saturation_pressure(heat.water)
            evaporated = gas.vapour / density - stores.steam
            evaporated = min(evaporated, stores.chamber)
            stores.chamber -= evaporated
            stores.steam += evaporated
        gas.vapour = stores.steam * density
        if not self.door_shut:
            self._air_out()
            return
        left = min(gas.breathe(dt, self.vent_area()), stores.steam)
        if left > 0.0:
            stores.steam -= left
            stores.reservoir += left  # condensed in the coil that lies in the reservoir
            self.steam_lost += left
            heat.evaporate(left, stores.chamber, gas.volume)
            warmed = stores.reservoir * 4186.0
            self.reservoir_celsius += left * latent_heat(gas.celsius) / warmed

    def _air_out(self) -> None:
        """The door stands open: room air in the chamber, as damp as it is taken to be everywhere here."""
        damp = saturation_pressure(self.model.place.ambient)
        mass = damp * self.gas.volume / (GAS_VAPOUR * (self.gas.celsius + KELVIN))
        self.stores.room += mass - self.stores.steam
        self.stores.steam = mass
        self.gas.vapour = damp
        self.gas.open_door()

    def vent_area(self) -> float:
        """m2 open to the outside: the vent as its bellows leaves it, and a gasket that does not seal yet."""
        vent = self.model.vent
        shut = (self.bellows.value - vent.closes) / vent.width + 0.5
        part = min(1.0, max(0.0, 1.0 - shut)) * self.defects.vent_open
        area = part * pi * vent.hole**2 / 4
        if self.gas.gauge < vent.gasket_closes:
            area += pi * vent.gasket_hole**2 / 4
        return area

    def _sense(self, dt: float) -> None:
        place, stores = self.model.place, self.stores
        inside = self.gas.celsius
        self.reference.step(dt, inside)
        self.sensor.step(dt, inside)
        self.bellows.step(dt, inside if self.door_shut else place.ambient)
        self.vent_line.step(dt, place.ambient + 0.9 * (inside - place.ambient) * min(1.0, self._breath()))
        self.scale.step(dt, 1000.0 * stores.jug)
        self.settle_level()

    def _breath(self) -> float:
        """How much of the chamber's warmth the vent line takes on: by the share of steam in what passes."""
        gas = self.gas
        return gas.vapour / gas.pressure if gas.gauge > 100.0 and self.vent_area() > 1e-7 else 0.0

    def settle_level(self) -> None:
        """Probe and float. Waves of the inflow make the first contact bounce; a meniscus holds on for a while."""
        first, second = self.model.ripple
        if self.fill.q > 0.0:
            self.wave = 2.5e-5 * (sin(15.7 * self.now + first) + sin(26.1 * self.now + second))
        else:
            self.wave = 0.0
        chamber = self.model.chamber
        probe = self.depth - 1e-3 * self.tilt() * chamber.probe_place + self.wave
        tip = self.model.shape.probe_depth
        self.probe_wet = probe > (tip - 2e-5 if self.probe_wet else tip)
        self.float_up = self.depth > (chamber.float_trips - (2e-3 if self.float_up else 0.0))

    def tilt(self) -> float:
        """How the unit stands on the bench, mm/m, front low positive."""
        return 0.0
