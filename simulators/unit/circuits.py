"""The unit's circuits as they stand: what drives the valve, the level loop, the heater's lead."""

from dataclasses import dataclass
from math import inf, sqrt

from simulators.unit.board import Board
from simulators.unit.defects import Defects
from simulators.unit.electrics import bridge_mean, parallel, water_ohm
from simulators.unit.heat import Heat
from simulators.unit.lag import Lag
from simulators.unit.models import Model
from simulators.unit.valve import Valve

RATED_VOLTS = 230.0
SHUNT_OHM = 0.1  # the fixture's shunt in the valve's lead
DUMMY_OHM = 57.6  # the fixture's resistor of the valve's power
HEATER_LEAD_OHM = 0.05  # plug to heater, both ways (invented)
FUSE_SECONDS = 3.0  # thermal lag of the self-resetting fuse in the board's output (invented)
FUSE_TRIPPED_OHM = 2000.0  # what it lets through once tripped, until the power goes (invented)


@dataclass
class Connections:
    """What the fixture does to the unit: contacts closed, feeds, heater leads, jug."""

    mains: bool = False
    heater_enable: bool = False
    heater_leads: bool = True
    to_bench: bool = False
    bench_feed: bool = False  # the fill valve's feed contact
    bench_volts: float = 0.0  # DC on the bench bus, without load
    dummy: bool = False
    jug: bool = False


class Circuits:
    """Voltages and currents from the present state of the parts. Volts and amps of the mains are rms."""

    def __init__(self, model: Model, board: Board, valve: Valve, heat: Heat) -> None:
        self.model = model
        self.joined = Connections()
        self.defects = Defects()
        self.wander = 1.0  # the mains' own deviation, a factor
        self.mains_volts = model.place.supply.volts
        self.fuse_blown = False
        self.water_put_in: float | None = None  # uS/cm at 25 Cel of water that a person has put in
        self._board = board
        self._valve = valve
        self._heat = heat
        self._fuse = Lag(FUSE_SECONDS, 0.0)

    # ---- mains and heater ---------------------------------------------------------------------------------

    def load_mains(self) -> None:
        """The socket's voltage under what the heater draws."""
        ohms = self.heater_ohms() + self.lead_ohms() if self.heater_on() else inf
        self.mains_volts = self.model.place.supply.loaded(self.wander, ohms)

    def heater_ohms(self) -> float:
        """The heater at its terminals."""
        return self._heat.heater_ohms() + self.defects.heater_joint_ohm

    def lead_ohms(self) -> float:
        """Plug to heater, with whatever joint is bad in it."""
        return HEATER_LEAD_OHM + self.defects.lead_joint_ohm

    def heater_on(self) -> bool:
        """Every contact in the heater's lead is closed."""
        joined = self.joined
        return (
            joined.mains
            and joined.heater_enable
            and joined.heater_leads
            and self._board.wants_heat
            and not self._heat.tripped
        )

    def heater_volts(self) -> float:
        """At the heater's terminals."""
        if not self.heater_on():
            return 0.0
        ohms = self.heater_ohms()
        volts = self.mains_volts * sqrt(1.0 - 0.5 * self.defects.lost_half_wave)
        return volts if ohms == inf else volts * ohms / (ohms + self.lead_ohms())

    def heater_amps(self) -> float:
        """In the heater's lead."""
        return self.heater_volts() / self.heater_ohms()

    def heater_watts(self) -> float:
        """Turned into heat in the element itself, a bad joint's share left out."""
        amps = self.heater_amps()
        return amps * amps * self._heat.heater_ohms()

    def supply_amps(self) -> float:
        """Into the unit."""
        if not self.joined.mains:
            return 0.0
        valve = 0.0 if self.joined.to_bench else self._valve.amps * self.board_emf() / self.mains_volts
        return self.model.electrics.idle_amps + valve + self.heater_amps()

    # ---- the fill valve -----------------------------------------------------------------------------------

    def harness_ohm(self) -> float:
        """The fill valve's lead, out and back."""
        return self.model.electrics.harness_ohm + self.defects.harness_ohm

    def output_ohm(self) -> float:
        """Inside the board, up to its output terminals."""
        fuse = FUSE_TRIPPED_OHM if self.fuse_blown else 0.0
        return self.model.electrics.output_ohm + self.defects.output_ohm + fuse

    def board_emf(self) -> float:
        """Mean DC volts that the board's output would give after the rectifier, without load."""
        if not (self._board.drives_valve and self.joined.mains):
            return 0.0
        secondary = self.model.electrics.secondary * self.mains_volts / RATED_VOLTS
        bad = self.defects.diode_ohm
        share = 1.0 if bad == 0.0 else 1.0 / (1.0 + bad / self._valve.ohms)
        return bridge_mean(secondary, share)

    def load_ohms(self) -> float:
        """What hangs on the valve's plug on the board's side of the changeover."""
        load = DUMMY_OHM if self.joined.dummy else inf
        return load if self.joined.to_bench else parallel(load, self._valve.ohms + SHUNT_OHM)

    def plug_volts(self) -> float:
        """DC at the valve's plug, board's side."""
        return self._share(self.load_ohms(), self.output_ohm() + self.harness_ohm()) * self.board_emf()

    def output_volts(self) -> float:
        """AC at the board's own output terminals, where the fixture senses its drive."""
        if not (self._board.drives_valve and self.joined.mains):
            return 0.0
        secondary = self.model.electrics.secondary * self.mains_volts / RATED_VOLTS
        return secondary * self._share(self.load_ohms() + self.harness_ohm(), self.output_ohm())

    @staticmethod
    def _share(load: float, source: float) -> float:
        if source == inf:
            return 0.0
        return 1.0 if load == inf else load / (load + source)

    def drive_valve(self, now: float, dt: float) -> None:
        """One step of the valve with whatever feeds it, and of the fuse in the board's output."""
        joined, valve = self.joined, self._valve
        if joined.to_bench:
            driven = joined.bench_feed and joined.bench_volts > 0.0
            valve.step(now, dt, driven, joined.bench_volts, self.model.place.bench_ohm + SHUNT_OHM)
        else:
            emf = self.board_emf()
            valve.step(now, dt, emf > 0.0, emf, self.output_ohm() + self.harness_ohm() + SHUNT_OHM)
        self._heat_fuse(dt)

    def _heat_fuse(self, dt: float) -> None:
        through = 0.0 if self.joined.to_bench else self._valve.amps
        self._fuse.step(dt, through * through)
        if self._fuse.value > self.model.electrics.fuse_amps**2:
            self.fuse_blown = True
        elif not self.joined.mains:
            self.fuse_blown = False

    # ---- level --------------------------------------------------------------------------------------------

    def conductivity(self) -> float:
        """Of the water, uS/cm at 25 Cel."""
        if self.water_put_in is not None:
            return self.water_put_in
        return self.model.place.conductivity * self.defects.conductivity

    def probe_ohm(self, wet: bool) -> float:
        """From the probe's terminal to the chamber wall, AC: deposit and water, beside the film."""
        electrics = self.model.electrics
        film = parallel(electrics.film_ohm, self.defects.probe_film_ohm)
        if not wet:
            return film
        water = water_ohm(electrics.cell, self.conductivity(), self._heat.water)
        return parallel(film, water + self.defects.probe_deposit_ohm)

    def level_loop(self, wet: bool) -> float:
        """The board's level loop: probe, wall, reference joint, and its own input."""
        return self.probe_ohm(wet) + self.defects.ground_ohm + self.defects.level_input_ohm
