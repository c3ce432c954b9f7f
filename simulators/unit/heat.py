"""Heat: the element, the water, the metal, the losses. Temperatures in Cel, capacities in J/K, W/K."""

from dataclasses import dataclass
from math import exp

from simulators.unit.electrics import parallel
from simulators.unit.steam import (
    GAS_VAPOUR,
    KELVIN,
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


HEATER_COEFFICIENT = 1e-4  # per K, a typical heating alloy; from memory, no source


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

    def take_in(self, liquid: float, added: float, celsius: float) -> None:
        """`added` kg at `celsius` joined the water; `liquid` kg is there now."""
        if added > 0.0:
            part = min(1.0, added / liquid)
            self.water += part * (celsius - self.water)

    def capacity(self, liquid: float, room: float) -> float:
        """J/K of `liquid` kg of water under `room` m3 of gas: warming it also fills the room with steam."""
        kelvin = self.water + KELVIN
        slope = saturation_slope(self.water, saturation_pressure(self.water))
        return liquid * SPECIFIC_HEAT_WATER + latent_heat(self.water) * room * slope / (GAS_VAPOUR * kelvin)

    def step(self, dt: float, watts: float, liquid: float, depth: float, room: float, ambient: float) -> None:
        """One step with `watts` in the element, `liquid` kg of water `depth` m deep and `room` m3 of gas."""
        parts = self.parts
        self.element += watts * dt / parts.element_capacity
        wet = min(1.0, max(0.0, depth / parts.cover_depth)) if liquid > 1e-4 else 0.0
        if wet > 0.0:
            water = self.capacity(liquid, room)
            self.element, self.water = exchange(
                parts.element_capacity, self.element, water, self.water, parts.wet * self.contact * wet, dt
            )
            coupling = parts.condense if self.metal < self.water else parts.boil * wet
            self.metal, self.water = exchange(parts.metal_capacity, self.metal, water, self.water, coupling, dt)
        else:
            self.water = self.metal  # whatever film is left
        self.element, self.metal = exchange(
            parts.element_capacity, self.element, parts.metal_capacity, self.metal, parts.dry, dt
        )
        self.metal = ambient + (self.metal - ambient) * exp(-parts.loss * dt / parts.metal_capacity)
        if self.element > parts.cut_out_trips - self.early:
            self.tripped = True

    def evaporate(self, kilograms: float, liquid: float, room: float) -> None:
        """Steam that left the chamber took its latent heat from the water."""
        if liquid > 0.0:
            self.water -= kilograms * latent_heat(self.water) / self.capacity(liquid, room)
