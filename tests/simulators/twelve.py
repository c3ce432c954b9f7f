"""A 12 L unit for comparison with worked magnitudes of small units; its numbers are no profile's. Nothing is drawn."""

from dataclasses import replace

from simulators.plant import Plant
from simulators.unit.making import make
from simulators.unit.models import Model
from simulators.unit.nominals import NOMINALS
from simulators.unit.solenoid import Solenoid

# Fluid path, chamber and heat of a common small unit, and a DC coil without the lag of a solid core.
COIL = replace(NOMINALS["demo-18-dc"].solenoid, preload=3.5, shaded=0.0)
TWELVE = replace(
    NOMINALS["demo-18-dc"],
    name="demo-18-dc",
    diameter=0.220,
    length=0.320,
    fill=300e-6,
    reservoir_area=0.040,
    solenoid=COIL,
    heater_ohm=48.0,
    metal_capacity=2470.0,  # with the element's 130 J/K 2.6 kJ/K
    loss=2.2,
    boil=120.0,
    vent_hole=2.0e-3,
    exhaust_hole=2.5e-3,
)


def model(depth: float = 0.100, give_up: float = 300.0, ambient: float = 20.0) -> Model:
    """The unit as it is drawn; `depth` m in the reservoir, and the board waits `give_up` s for the level."""
    made = make(TWELVE, 0, share=0.0)
    place = replace(made.place, reservoir_depth=depth, ambient=ambient, pressure=101325.0, conductivity=5.0)
    return replace(made, place=place, board=replace(made.board, give_up=give_up))


def plant(depth: float = 0.100, give_up: float = 300.0) -> Plant:
    """It in the fixture."""
    return Plant(model=model(depth, give_up))


__all__ = ["COIL", "TWELVE", "Solenoid", "model", "plant"]
