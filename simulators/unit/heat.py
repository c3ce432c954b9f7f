"""Heat: the element, the water with its steam, the metal, the losses. Temperatures in Cel, capacities in J/K, W/K.

The water in the chamber, as liquid and as steam, is one store of energy; its temperature is what fits that energy and
the room it has. So nothing is lost but what is in the ledger, whatever the length of a step.
"""

from dataclasses import dataclass
from math import exp

from simulators.unit.electrics import parallel
from simulators.unit.steam import (
    GAS_VAPOUR,
    KELVIN,
    LATENT_AT_0,
    LATENT_SLOPE,
    SPECIFIC_HEAT_WATER,
    latent_heat,
    saturation_pressure,
    saturation_slope,
)


@dataclass(frozen=True)
class HeatParts:
    """Heater in ohm at 20 Cel; capacities in J/K; couplings in W/K; cut-out in Cel at the element."""

    heater_ohm: float
    element_capacity: float
    metal_capacity: float
    loss: float
    boil: float  # from hot metal into water
    condense: float  # from steam or water into colder metal
    wet: float  # from the element into water that covers it
    dry: float  # from the element into the metal alone
    cover_depth: float  # m of water that covers the element
    cut_out_trips: float
    cut_out_ohm: float


@dataclass
class Ledger:
    """J since the start: heat of the element, heat lost to the room, heat carried in by water and steam (out: less)."""

    heated: float = 0.0
    lost: float = 0.0
    carried: float = 0.0


HEATER_COEFFICIENT = 1e-4  # per K, a typical heating alloy; from memory, no source
VAPOUR_CAPACITY = SPECIFIC_HEAT_WATER - LATENT_SLOPE  # J/(kg K) of steam alone, by `enthalpy`
FILM = 20.0  # W/K from hot metal into a film of water too thin to count as covering it (invented)
NOTHING = 1e-9  # kg of water that does not count
SCANT = 1e-4  # kg of water that is as warm as the metal it lies on
HOTTEST = 360.0  # Cel, where the saturation line ends


def enthalpy(celsius: float) -> float:
    """J/kg of saturated steam over liquid water at 0 Cel."""
    return SPECIFIC_HEAT_WATER * celsius + latent_heat(celsius)


def exchange(c1: float, t1: float, c2: float, t2: float, coupling: float, dt: float) -> tuple[float, float]:
    """New temperatures of two bodies of capacities c1, c2 joined by `coupling` W/K for `dt` s, exactly."""
    if coupling <= 0.0 or t1 == t2:
        return t1, t2
    both = c1 + c2
    mean = (c1 * t1 + c2 * t2) / both
    keep = exp(-coupling * dt * both / (c1 * c2))
    gap = (t1 - t2) * keep
    return mean + gap * c2 / both, mean - gap * c1 / both


class Heat:
    """Temperatures of element, water and metal of one chamber, with its cut-out (manual reset)."""

    def __init__(self, parts: HeatParts, celsius: float) -> None:
        self.parts = parts
        self.element = self.water = self.metal = celsius
        self.energy = 0.0  # J of water and steam in the chamber over liquid water at 0 Cel
        self.load = 0.0  # J/K of a load in the chamber, which goes with the metal
        self.ledger = Ledger()
        self.tripped = False
        self.element_joint = 0.0  # ohm in series with one of the two elements
        self.contact = 1.0  # of the element's coupling to the water
        self.early = 0.0  # K by which the cut-out opens too early

    def heater_ohms(self) -> float:
        """Resistance of the heater itself now: two like elements side by side."""
        ohms = self.parts.heater_ohm * (1 + HEATER_COEFFICIENT * (self.element - 20.0))
        return parallel(2 * ohms, 2 * ohms + self.element_joint) if self.element_joint > 0.0 else ohms

    def active(self, ambient: float) -> bool:
        """Anything still differs from the surroundings by more than 0.02 K."""
        return max(abs(self.element - ambient), abs(self.water - ambient), abs(self.metal - ambient)) > 0.02

    # ---- what comes and goes ------------------------------------------------------------------------------

    def carry(self, joules: float) -> None:
        """Water or steam has brought so much into the chamber, or (negative) taken it away."""
        self.energy += joules
        self.ledger.carried += joules

    def take_in(self, kilograms: float, celsius: float) -> None:
        """Liquid at `celsius` came in."""
        self.carry(kilograms * SPECIFIC_HEAT_WATER * celsius)

    def let_out(self, kilograms: float) -> None:
        """Liquid left."""
        self.carry(-kilograms * SPECIFIC_HEAT_WATER * self.water)

    def steam_out(self, kilograms: float) -> None:
        """Steam left."""
        self.carry(-kilograms * enthalpy(self.water))

    def put_load(self, capacity: float, celsius: float) -> None:
        """A load of `capacity` J/K at `celsius` lies in the chamber instead of what lay there."""
        own = self.parts.metal_capacity
        before = (own + self.load) * self.metal
        self.metal = (own * self.metal + capacity * celsius) / (own + capacity)
        self.load = capacity
        self.ledger.carried += (own + capacity) * self.metal - before

    def stored(self) -> float:
        """J in element, metal, load and water over 0 Cel."""
        metal = (self.parts.metal_capacity + self.load) * self.metal
        return self.parts.element_capacity * self.element + metal + self.energy

    # ---- one step -----------------------------------------------------------------------------------------

    def capacity(self, liquid: float, room: float) -> float:
        """J/K of `liquid` kg of water under `room` m3 of gas: warming it also fills the room with steam."""
        kelvin = self.water + KELVIN
        slope = saturation_slope(self.water, saturation_pressure(self.water))
        return liquid * SPECIFIC_HEAT_WATER + latent_heat(self.water) * room * slope / (GAS_VAPOUR * kelvin)

    def step(
        self, dt: float, watts: float, liquid: float, steam: float, depth: float, room: float, ambient: float
    ) -> None:
        """One step with `watts` in the element, `liquid` kg of water `depth` m deep, `steam` kg in `room` m3 of gas."""
        parts = self.parts
        self.element += watts * dt / parts.element_capacity
        self.ledger.heated += watts * dt
        metal_capacity = parts.metal_capacity + self.load
        wet = min(1.0, max(0.0, depth / parts.cover_depth)) if liquid > 1e-4 else 0.0
        if liquid + steam > SCANT:
            water = self.capacity(liquid, room) if liquid > NOTHING else steam * VAPOUR_CAPACITY
            if wet > 0.0:
                before = self.element
                self.element, self.water = exchange(
                    parts.element_capacity, before, water, self.water, parts.wet * self.contact * wet, dt
                )
                self.energy += parts.element_capacity * (before - self.element)
            dry = liquid <= NOTHING
            coupling = parts.condense if self.metal < self.water or dry else max(parts.boil * wet, FILM)
            before = self.metal
            self.metal, self.water = exchange(metal_capacity, before, water, self.water, coupling, dt)
            self.energy += metal_capacity * (before - self.metal)
        else:
            self.water = self.metal
        self.element, self.metal = exchange(
            parts.element_capacity, self.element, metal_capacity, self.metal, parts.dry, dt
        )
        before = self.metal
        self.metal = ambient + (before - ambient) * exp(-parts.loss * dt / metal_capacity)
        self.ledger.lost += metal_capacity * (before - self.metal)
        if self.element > parts.cut_out_trips - self.early:
            self.tripped = True

    def settle(self, total: float, room: float, gas_kelvin: float) -> float:
        """The steam in kg that `total` kg of water have in a shut chamber of `room` m3; sets the water's temperature.

        Newton on energy = total c T + m(T) L(T) with m = p(T) room / (R gas_kelvin) on the saturation line.
        """
        if total <= SCANT:
            steam = min(total, saturation_pressure(self.metal) * room / (GAS_VAPOUR * gas_kelvin))
            self._as_the_metal(total * SPECIFIC_HEAT_WATER * self.metal + steam * latent_heat(self.metal))
            return steam
        celsius, steam = self.water, 0.0
        for _ in range(12):
            pressure = saturation_pressure(celsius)
            steam = pressure * room / (GAS_VAPOUR * gas_kelvin)
            latent = latent_heat(celsius)
            more = room / (GAS_VAPOUR * gas_kelvin) * saturation_slope(celsius, pressure)
            wrong = total * SPECIFIC_HEAT_WATER * celsius + steam * latent - self.energy
            by = wrong / (total * SPECIFIC_HEAT_WATER + more * latent - steam * LATENT_SLOPE)
            celsius = min(HOTTEST, max(0.0, celsius - by))
            if abs(by) < 1e-7:
                break
        if steam >= total:  # all of it is steam, and hotter than the saturation line
            steam = total
            celsius = (self.energy - total * LATENT_AT_0) / (total * VAPOUR_CAPACITY)
        self.water = celsius
        return steam

    def settle_open(self, liquid: float) -> None:
        """The same under an open door, where the steam is the room's."""
        if liquid <= SCANT:
            self._as_the_metal(liquid * SPECIFIC_HEAT_WATER * self.metal)
        else:
            self.water = self.energy / (liquid * SPECIFIC_HEAT_WATER)

    def _as_the_metal(self, energy: float) -> None:
        """So little water has the metal's temperature; what is missing to `energy` J the metal gives."""
        self.metal -= (energy - self.energy) / (self.parts.metal_capacity + self.load)
        self.energy = energy
        self.water = self.metal
