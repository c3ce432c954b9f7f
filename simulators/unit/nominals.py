"""The numbers of each unit profile that units are drawn around. All are invented for the demonstration; magnitudes
are those of small units in general, no number describes a real machine.
"""

from dataclasses import dataclass, replace

from simulators.unit.solenoid import Solenoid

DEMO_18_AC, DEMO_18_DC, DEMO_24_DC = "demo-18-ac", "demo-18-dc", "demo-24-dc"


@dataclass(frozen=True)
class Nominal:
    """Lengths in m, areas in m2, volumes in m3, Kv in m3/h, capacities in J/K, couplings in W/K, V, A, ohm, s."""

    name: str
    diameter: float
    length: float
    fill: float
    reservoir_area: float
    column_area: float  # of the condensing coil seen as a pipe; 0: the fill has a port of its own, without the coil
    weep: float  # with a port of its own: the reservoir's outlet
    coil: float
    filter: float
    valve: float
    tube: float
    solenoid: Solenoid
    rectifier: str  # "none", "separate" or "moulded"
    secondary: float
    output_ohm: float
    fuse_amps: float
    heater_ohm: float
    metal_capacity: float
    element_capacity: float
    loss: float
    boil: float
    vent_hole: float
    vent_lag: float
    exhaust_hole: float
    bottle: bool

    @property
    def one_port(self) -> bool:
        """Fill and exhaust share one port, and the fill comes through the condensing coil's foot."""
        return self.column_area > 0.0


DC_COIL = Solenoid(
    ohm_20=57.6,
    force_constant=7.66e-4,
    gap_offset=1.235e-3,
    stroke=1.5e-3,
    mass=0.015,
    preload=4.1,
    rate=600.0,
    damping=2.0,
    kelvin_per_watt=7.5,
    thermal_seconds=1200.0,
    shaded=1.0,  # a solid core
    lag=2e-3,
)
MOULDED_COIL = replace(DC_COIL, ohm_20=51.0, holds=7.5)
AC_COIL = Solenoid(
    ohm_20=12.0,
    force_constant=2.19e-4,
    gap_offset=1.227e-3,
    stroke=1.5e-3,
    mass=0.015,
    preload=1.9,
    rate=350.0,
    damping=2.0,
    kelvin_per_watt=7.5,
    thermal_seconds=1200.0,
    shaded=0.5,
    holds=15.0,
)

NOMINALS = {
    one.name: one
    for one in (
        Nominal(
            name=DEMO_18_AC,
            diameter=0.240,
            length=0.400,
            fill=430e-6,
            reservoir_area=0.045,
            column_area=0.0,
            weep=0.50,
            coil=0.50,
            filter=0.60,
            valve=0.21,
            tube=0.50,
            solenoid=AC_COIL,
            rectifier="none",
            secondary=25.0,
            output_ohm=0.9,
            fuse_amps=1.05,
            heater_ohm=35.5,
            metal_capacity=4400.0,
            element_capacity=130.0,
            loss=2.8,
            boil=150.0,
            vent_hole=2.2e-3,
            vent_lag=40.0,
            exhaust_hole=3.6e-3,
            bottle=False,
        ),
        Nominal(
            name=DEMO_18_DC,
            diameter=0.245,
            length=0.385,
            fill=420e-6,
            reservoir_area=0.045,
            column_area=1.6e-4,
            weep=0.22,
            coil=0.50,
            filter=0.60,
            valve=0.28,
            tube=0.60,
            solenoid=DC_COIL,
            rectifier="separate",
            secondary=28.0,
            output_ohm=0.9,
            fuse_amps=0.62,
            heater_ohm=35.5,
            metal_capacity=4400.0,
            element_capacity=130.0,
            loss=2.8,
            boil=150.0,
            vent_hole=2.2e-3,
            vent_lag=40.0,
            exhaust_hole=3.6e-3,
            bottle=False,
        ),
        Nominal(
            name=DEMO_24_DC,
            diameter=0.255,
            length=0.470,
            fill=590e-6,
            reservoir_area=0.050,
            column_area=1.6e-4,
            weep=0.30,
            coil=0.50,
            filter=0.80,
            valve=0.35,
            tube=0.60,
            solenoid=MOULDED_COIL,
            rectifier="moulded",
            secondary=25.6,
            output_ohm=0.9,
            fuse_amps=0.62,
            heater_ohm=28.0,
            metal_capacity=5600.0,
            element_capacity=165.0,
            loss=3.4,
            boil=200.0,
            vent_hole=2.5e-3,
            vent_lag=40.0,
            exhaust_hole=4.1e-3,
            bottle=True,
        ),
    )
}
DEMO_UNITS = frozenset(NOMINALS)
RECTIFIED = frozenset(name for name, one in NOMINALS.items() if one.rectifier != "none")
WITH_BOTTLE = frozenset(name for name, one in NOMINALS.items() if one.bottle)
ONE_PORT = frozenset(name for name, one in NOMINALS.items() if one.one_port)
