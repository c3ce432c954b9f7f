"""The physical amounts that faults change. The defaults are a healthy unit's."""

from dataclasses import dataclass
from math import inf


@dataclass
class Defects:
    """Several faults may write the same amount: resistances add up, open parts multiply."""

    # fluid
    filter_open: float = 1.0  # part of the chamber filter's area
    weep_open: float = 1.0  # part of the weep hole's area
    tube_bore: float = inf  # m, narrowest place of the fill tube beyond the healthy path
    coil_bore: float = inf  # m, the same in the condensing coil's foot
    seat_leak: float = 0.0  # opening of a fill valve that should be shut
    vent_open: float = 1.0  # part of the vent's hole, on top of what its bellows leaves
    vent_seat_hole: float = 0.0  # m, a hole that its seat leaves
    vent_stuck: float = 0.0  # part of the vent's hole that its bellows cannot close
    gasket_hole: float = 0.0  # m, a hole the gasket never closes
    door_hole: float = 0.0  # m, the same where a door out of line does not press
    fitting_hole: float = 0.0  # m, at a tube joint
    gland_hole: float = 0.0  # m, at the glands of probe and sensor
    relief_hole: float = 0.0  # m, at the relief valve while it weeps
    relief_weeps: float = inf  # Pa above ambient from which it does
    door_release: float = 1.0  # of the gap that the catch gives for drying
    conductivity: float = 1.0  # of the water that came with the unit, as a part of what it should be
    # fill valve and its supply
    winding_joint_ohm: float = 0.0  # in series inside the winding
    shorted_turns: float = 0.0  # part of the winding
    plunger_grip: float = 0.0  # adhesion at the seat, of what just keeps the plunger there
    spring: float = 1.0  # force of the return spring as a part of what it should be
    harness_ohm: float = 0.0  # in the lead
    diode_ohm: float = 0.0  # in series with one half wave of the rectifier
    output_ohm: float = 0.0  # inside the board's output
    # level
    probe_deposit_ohm: float = 0.0  # insulating layer on the probe
    probe_film_ohm: float = inf  # across the insulator, wet or dry
    probe_shift: float = 0.0  # of the probe's height over the floor by which its tip is bent up
    ground_ohm: float = 0.0  # in the joint from chamber wall to board reference
    level_input_ohm: float = 0.0  # inside the board's level input
    # heat
    heater_joint_ohm: float = 0.0  # in series inside the heater
    element_joint_ohm: float = 0.0  # in series inside one of the heater's two elements
    lead_joint_ohm: float = 0.0  # in the heater's lead
    lost_half_wave: float = 0.0  # part of every second half wave that the heater switch does not pass
    heater_contact: float = 1.0  # of the heater's coupling to the water
    dry_share: float = 1.0  # of the heat pulses in the dry phase
    sensor_ohm: float = 0.0  # in the circuit of the unit's temperature sensor
    pressure_off: float = 0.0  # Pa that the unit's pressure sensor reads too much
    cut_out_early: float = 0.0  # K by which the cut-out opens too early
    # what was true at the owner's and is not on the bench any more
    tilt: float = 0.0  # mm/m, front low
    mains: float = 1.0  # of the voltage at the socket
    load: float = 0.0  # kg of steel more than the instructions allow
    trap: float = 0.0  # part of its condensate that a load keeps, beyond the usual
    rested: float = inf  # min since another cycle
