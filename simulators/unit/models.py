"""What one made unit consists of. `making.py` draws it; `nominals.py` has the numbers it is drawn around."""

from dataclasses import dataclass

from simulators.unit.board import BoardSettings
from simulators.unit.electrics import ElectricParts, Supply
from simulators.unit.heat import HeatParts
from simulators.unit.solenoid import Solenoid
from simulators.unit.water import Path, Shape


@dataclass(frozen=True)
class Chamber:
    """Diameter and length in m, volume of water that wets the probe in a level unit in m3."""

    diameter: float
    length: float
    fill: float
    float_trips: float  # m of depth at which the hard-wired level relay closes


@dataclass(frozen=True)
class Vent:
    """Thermostatic vent: hole in m, Cel at half shut, K from open to shut, s of lag; gasket; relief valve."""

    hole: float
    closes: float
    width: float
    lag: float
    gasket_hole: float
    gasket_closes: float  # Pa above ambient at which the gasket seals
    relief: float  # Pa absolute at which the relief valve opens
    bottle: bool  # the vent line ends in a condensate bottle instead of the reservoir's coil


@dataclass(frozen=True)
class SensorParts:
    """The unit's own temperature and pressure sensors: s of lag, K and Pa of offset."""

    temperature_lag: float
    pressure_lag: float
    temperature_offset: float
    pressure_offset: float


@dataclass(frozen=True)
class Place:
    """Where unit and bench stand, and what came with the unit."""

    ambient: float  # Cel
    pressure: float  # Pa
    supply: Supply
    bench_volts: float
    bench_ohm: float
    bench_ac_volts: float
    bench_ac_ohm: float
    reservoir_depth: float  # m, as it came
    conductivity: float  # uS/cm at 25 Cel, of the water that came with it
    tilt_at_owner: float  # mm/m


@dataclass(frozen=True)
class Model:
    """One unit as made."""

    name: str
    shape: Shape
    path: Path
    chamber: Chamber
    valve: Solenoid
    heat: HeatParts
    vent: Vent
    electrics: ElectricParts
    board: BoardSettings
    sensors: SensorParts
    exhaust_hole: float  # m
    overflow: float  # m of depth above which the reservoir reaches the end of the vent line
    place: Place
    ripple: tuple[float, float]  # phases of the waves at the probe
