"""How one made unit differs from the next: spreads about the nominal numbers, drawn from a seed.

Spreads are uniform, each subject from its own seeded stream. All are invented.
"""

from collections.abc import Callable, Mapping
from dataclasses import replace
from functools import partial
from random import Random

from simulators.unit.board import BoardSettings
from simulators.unit.electrics import ElectricParts, Supply
from simulators.unit.heat import HeatParts
from simulators.unit.models import Chamber, Model, Place, SensorParts, Vent
from simulators.unit.nominals import NOMINALS, Nominal
from simulators.unit.solenoid import Solenoid
from simulators.unit.water import Cylinder, Path, Shape

TESTED_HALF = 0.8  # part of the failing moulded rectifiers that lose the half wave a DC test goes through (invented)


Near = Callable[[float, float], float]  # (middle, part) -> middle * (1 +- part), uniform
Draw = Callable[[str], Near]  # from the stream of one subject


def _spread(seed: int, share: float) -> Draw:
    def subject(name: str) -> Near:
        stream = Random(f"{seed}/{name}")
        return lambda middle, part: middle * (1.0 + share * part * (2.0 * stream.random() - 1.0))

    return subject


def _water(one: Nominal, draw: Draw) -> tuple[Shape, Path, Chamber]:
    near = draw("water")
    chamber = Chamber(one.diameter, one.length, near(one.fill, 0.05), near(0.0095, 0.05))
    depth = Cylinder(chamber.diameter, chamber.length).depth(chamber.fill)
    shape = Shape(one.reservoir_area, 0.003, near(0.040, 0.04), one.column_area, depth)
    path = Path(
        weep=near(one.weep, 0.04),
        coil=near(one.coil, 0.04),
        filter=near(one.filter, 0.05),
        valve=near(one.valve, 0.04),
        tube=near(one.tube, 0.04),
        linear=1.9e7,
        own_port=not one.one_port,
    )
    return shape, path, chamber


def _valve(one: Nominal, draw: Draw) -> Solenoid:
    """Turns and wire vary apart: R goes with both, K with the square of the turns."""
    near, middle = draw("valve"), one.solenoid
    turns, wire, spring = near(1.0, 0.02), near(1.0, 0.02), near(1.0, 0.03)
    return replace(
        middle,
        ohm_20=middle.ohm_20 * turns * wire,
        force_constant=middle.force_constant * turns * turns,
        preload=middle.preload * spring,
        rate=middle.rate * spring,
        kelvin_per_watt=near(middle.kelvin_per_watt, 0.05),
        thermal_seconds=near(middle.thermal_seconds, 0.1),
    )


def _heat(one: Nominal, draw: Draw) -> HeatParts:
    near = draw("heater")
    return HeatParts(
        heater_ohm=near(one.heater_ohm, 0.022),
        element_capacity=near(one.element_capacity, 0.05),
        metal_capacity=near(one.metal_capacity, 0.025),
        loss=near(one.loss, 0.05),
        boil=one.boil,
        condense=400.0,
        wet=near(60.0, 0.05),
        dry=1.5,
        cover_depth=0.006,
        cut_out_trips=near(225.0, 0.02),
        cut_out_ohm=near(0.03, 0.3),
    )


def _electrics(one: Nominal, draw: Draw, seed: int) -> ElectricParts:
    near, more = draw("electrics"), Random(f"{seed}/electrics, more")
    return ElectricParts(
        secondary=one.secondary,
        rectifier=one.rectifier,
        lost_half=1 if more.random() < TESTED_HALF else -1,
        phase=6.283 * more.random(),
        output_ohm=near(one.output_ohm, 0.1),
        fuse_amps=near(one.fuse_amps, 0.02),
        output_off_ohm=near(220.0, 0.1),
        harness_ohm=near(0.25, 0.4),
        chassis_ohm=near(0.10, 0.5),
        idle_amps=near(0.034, 0.15),
        bench_level_ohm=near(220e3, 0.02),
        film_ohm=near(3e6, 0.2),
        cell=near(0.5, 0.05),
        earth_bond=near(0.085, 0.3),
        insulation=near(60.0, 0.6),
        sub_47k=near(47e3, 0.01),
        sub_1m=near(1e6, 0.01),
    )


def _place(draw: Draw) -> Place:
    near, more = draw("place"), draw("place, more")
    return Place(
        ambient=near(22.0, 0.15),
        pressure=near(101.0e3, 0.012),
        supply=Supply(near(230.0, 0.012), near(0.3, 0.1), near(50.0, 0.0004)),
        bench_volts=near(24.1, 0.005),
        bench_ohm=near(0.25, 0.2),
        bench_ac_volts=more(24.4, 0.01),
        bench_ac_ohm=more(0.4, 0.2),
        reservoir_depth=near(0.088, 0.06),
        conductivity=near(14.0, 0.4),
        tilt_at_owner=near(1.5, 0.8),
    )


def _sensors(draw: Draw, seed: int, share: float) -> SensorParts:
    stream = Random(f"{seed}/sensors")
    near = draw("sensors, lag")
    off = (share * stream.uniform(-0.3, 0.3), share * stream.uniform(-1.5e3, 1.5e3))
    return SensorParts(near(5.0, 0.2), near(1.0, 0.2), *off)


def make(one: Nominal, seed: int, share: float = 1.0) -> Model:
    """The unit of this seed; with a `share` of the spreads, none of them at 0."""
    draw = _spread(seed, share)
    shape, path, chamber = _water(one, draw)
    vent, board, waves = draw("vent"), draw("board"), Random(f"{seed}/waves")
    return Model(
        name=one.name,
        shape=shape,
        path=path,
        chamber=chamber,
        valve=_valve(one, draw),
        heat=_heat(one, draw),
        vent=Vent(
            hole=vent(one.vent_hole, 0.05),
            closes=vent(103.5, 0.005),
            width=2.0,
            lag=vent(one.vent_lag, 0.1),
            gasket_hole=vent(5e-5, 0.5),
            gasket_closes=8e3,
            relief=361e3,
            bottle=one.bottle,
        ),
        electrics=_electrics(one, draw, seed),
        board=BoardSettings(board(4.0, 0.1), 180.0, 2.0, board(220e3, 0.03), 134.0, 0.6, 240.0, 1800.0),
        sensors=_sensors(draw, seed, share),
        exhaust_hole=vent(one.exhaust_hole, 0.04),
        overflow=vent(0.110, 0.01),
        place=_place(draw),
        ripple=(waves.random() * 6.283, waves.random() * 6.283),
    )


MODELS: Mapping[str, Callable[[int], Model]] = {name: partial(make, one) for name, one in NOMINALS.items()}
