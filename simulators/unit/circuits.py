"""The unit's circuits as they stand: what drives the valve, the level loop, the heater's lead."""

from math import inf, sqrt

from simulators.unit.board import Board
from simulators.unit.defects import Defects
from simulators.unit.electrics import HALF_WAVE, parallel, water_ohm
from simulators.unit.heat import Heat
from simulators.unit.models import Model
from simulators.unit.valve import Valve
from simulators.unit.valve_feed import Connections, ValveFeed

HEATER_LEAD_OHM = 0.05  # plug to heater, both ways (invented)


class Circuits:
    """Voltages and currents from the present state of the parts. Volts and amps of the mains are rms."""

    def __init__(self, model: Model, board: Board, valve: Valve, heat: Heat) -> None:
        self.model = model
        self.joined = Connections()
        self.feed = ValveFeed(model, board, valve, self.joined)
        self.wander = 1.0  # the mains' own deviation, a factor
        self.mains_volts = model.place.supply.volts
        self.water_put_in: float | None = None  # uS/cm at 25 Cel of water that a person has put in
        self._board = board
        self._heat = heat

    @property
    def defects(self) -> Defects:
        """What is wrong with the unit."""
        return self.feed.defects

    @defects.setter
    def defects(self, defects: Defects) -> None:
        self.feed.defects = defects

    # ---- mains and heater ---------------------------------------------------------------------------------

    def load_mains(self) -> None:
        """The socket's voltage under what the heater draws."""
        ohms = self.heater_ohms() + self.lead_ohms() if self.heater_on() else inf
        self.mains_volts = self.feed.mains_volts = self.model.place.supply.loaded(
            self.wander * self.defects.mains, ohms
        )

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

    def heater_mean_volts(self) -> float:
        """The DC part at the heater's terminals: the mean of what one half wave has more than the other."""
        volts = self.heater_volts()
        lost = self.defects.lost_half_wave
        return volts * HALF_WAVE * lost / sqrt(1.0 - 0.5 * lost) if lost > 0.0 else 0.0

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
        valve = self.feed.board_amps() * self.feed.secondary() / self.mains_volts
        return self.model.electrics.idle_amps + valve + self.heater_amps()

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

    def level_ohm(self, wet: bool) -> float:
        """From the probe's terminal to the chamber wall, with what the fixture has put beside or lifted."""
        return parallel(inf if self.joined.level_lifted else self.probe_ohm(wet), self.joined.level_beside_ohm)

    def level_loop(self, wet: bool) -> float:
        """The board's level loop: probe, wall, reference joint, and its own input."""
        return self.level_ohm(wet) + self.defects.ground_ohm + self.defects.level_input_ohm
