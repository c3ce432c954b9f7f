"""The unit profiles the simulator knows, and how one made unit differs from the next.

Every number here is invented for the demonstration; magnitudes are those of small units in general. Spreads
are uniform, each subject from its own seeded stream.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from random import Random

from simulators.unit.board import BoardSettings
from simulators.unit.electrics import ElectricParts, Supply
from simulators.unit.heat import HeatParts
from simulators.unit.valve import Solenoid
from simulators.unit.water import Cylinder, Path, Shape

DEMO_18_DC = "demo-18-dc"
DEMO_UNITS = frozenset({"demo-18-ac", "demo-18-dc", "demo-24-dc"})
RECTIFIED = frozenset({"demo-18-dc", "demo-24-dc"})  # a rectifier feeds their fill valve
WITH_BOTTLE = frozenset({"demo-24-dc"})
ONE_PORT = frozenset({"demo-18-dc", "demo-24-dc"})  # the fill comes through the condensing coil's foot


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


@dataclass(frozen=True)
class Place:
    """Where unit and bench stand, and what came with the unit."""

    ambient: float  # Cel
    pressure: float  # Pa
    supply: Supply
    bench_volts: float
    bench_ohm: float
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
    place: Place
    ripple: tuple[float, float]  # phases of the waves at the probe


def _spread(seed: int, subject: str) -> Callable[[float, float], float]:
    """A function (middle, part) -> middle * (1 +- part), uniform, from the stream of one subject."""
    stream = Random(f"{seed}/{subject}")
    return lambda middle, part: middle * (1.0 + part * (2.0 * stream.random() - 1.0))


def _water(seed: int) -> tuple[Shape, Path, Chamber]:
    near = _spread(seed, "water")
    chamber = Chamber(0.245, 0.385, near(420e-6, 0.05), near(0.0095, 0.05))
    depth = Cylinder(chamber.diameter, chamber.length).depth(chamber.fill)
    shape = Shape(0.045, 0.003, near(0.040, 0.04), 1.6e-4, depth)
    path = Path(near(0.22, 0.04), near(0.50, 0.04), near(0.60, 0.05), near(0.28, 0.04), near(0.60, 0.04), 1.9e7)
    return shape, path, chamber


def _valve(seed: int) -> Solenoid:
    """Turns and wire vary apart: R goes with both, K with the square of the turns."""
    near = _spread(seed, "valve")
    turns, wire, spring = near(1.0, 0.02), near(1.0, 0.02), near(1.0, 0.03)
    return Solenoid(
        ohm_20=57.6 * turns * wire,
        force_constant=7.66e-4 * turns * turns,
        gap_offset=1.235e-3,
        stroke=1.5e-3,
        mass=0.015,
        preload=3.5 * spring,
        rate=600.0 * spring,
        damping=2.0,
        kelvin_per_watt=near(7.5, 0.05),
        thermal_seconds=near(1200.0, 0.1),
    )


def _heat(seed: int) -> HeatParts:
    near = _spread(seed, "heater")
    return HeatParts(
        heater_ohm=near(35.5, 0.022),
        element_capacity=near(130.0, 0.05),
        metal_capacity=near(4400.0, 0.025),
        loss=near(2.8, 0.05),
        boil=150.0,
        condense=400.0,
        wet=near(60.0, 0.05),
        dry=1.5,
        cover_depth=0.006,
        cut_out_trips=near(225.0, 0.02),
        cut_out_ohm=near(0.03, 0.3),
    )


def _electrics(seed: int) -> ElectricParts:
    near = _spread(seed, "electrics")
    return ElectricParts(
        secondary=28.6,
        output_ohm=near(0.9, 0.1),
        fuse_amps=near(0.62, 0.02),
        output_off_ohm=near(220.0, 0.1),
        harness_ohm=near(0.25, 0.4),
        chassis_ohm=near(0.10, 0.5),
        idle_amps=near(0.034, 0.15),
        bench_level_ohm=near(220e3, 0.02),
        film_ohm=near(3e6, 0.2),
        cell=near(0.5, 0.05),
        earth_bond=near(0.085, 0.3),
        insulation=near(60.0, 0.6),
    )


def _place(seed: int) -> Place:
    near = _spread(seed, "place")
    return Place(
        ambient=near(22.0, 0.15),
        pressure=near(101.0e3, 0.012),
        supply=Supply(near(230.0, 0.012), near(0.3, 0.1), near(50.0, 0.0004)),
        bench_volts=near(24.1, 0.005),
        bench_ohm=near(0.25, 0.2),
        reservoir_depth=near(0.088, 0.06),
        conductivity=near(14.0, 0.4),
        tilt_at_owner=near(1.5, 0.8),
    )


def demo_18_dc(seed: int) -> Model:
    """18 L, 230 V, 24 V DC coil behind a separate rectifier, fill and exhaust share one port (layout B)."""
    shape, path, chamber = _water(seed)
    vent, board, waves = _spread(seed, "vent"), _spread(seed, "board"), Random(f"{seed}/waves")
    return Model(
        name=DEMO_18_DC,
        shape=shape,
        path=path,
        chamber=chamber,
        valve=_valve(seed),
        heat=_heat(seed),
        vent=Vent(vent(2.2e-3, 0.05), vent(103.5, 0.005), 2.0, vent(40.0, 0.1), vent(5e-5, 0.5), 8e3, 361e3),
        electrics=_electrics(seed),
        board=BoardSettings(board(4.0, 0.1), 180.0, 2.0, board(220e3, 0.03), 134.0, 0.6, 240.0, 1800.0),
        place=_place(seed),
        ripple=(waves.random() * 6.283, waves.random() * 6.283),
    )


MODELS: Mapping[str, Callable[[int], Model]] = {DEMO_18_DC: demo_18_dc}
