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
    vent_stuck: float = 0.0  # part of the vent's hole that its bellows cannot close
    gasket_hole: float = 0.0  # m, a hole the gasket never closes
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
    ground_ohm: float = 0.0  # in the joint from chamber wall to board reference
    level_input_ohm: float = 0.0  # inside the board's level input
    # heat
    heater_joint_ohm: float = 0.0  # in series inside the heater
    element_joint_ohm: float = 0.0  # in series inside one of the heater's two elements
    lead_joint_ohm: float = 0.0  # in the heater's lead
    lost_half_wave: float = 0.0  # part of every second half wave that the heater switch does not pass
    heater_contact: float = 1.0  # of the heater's coupling to the water
    cut_out_early: float = 0.0  # K by which the cut-out opens too early
    # what was true at the owner's and is not on the bench any more
    tilt: float = 0.0  # mm/m, front low
    rested: float = inf  # min since another cycle
