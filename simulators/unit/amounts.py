"""What is behind a severity: the physical amount of each fault, unit by unit.

    python -m simulators.unit.amounts

prints the table of the README, which a test holds to this.
"""

from collections.abc import Callable
from math import inf, isinf

from simulators.unit.faults import FAULTS
from simulators.unit.making import make
from simulators.unit.nominals import NOMINALS
from simulators.unit.unit import Unit

Amount = tuple[str, str, Callable[[Unit], float]]  # what it is, its unit, how much

AMOUNTS: dict[str, Amount] = {
    "filter-choked": ("open part of the filter's mesh", "%", lambda u: 100 * u.defects.filter_open),
    "line-narrowed": ("narrowest bore of the fill tube", "mm", lambda u: 1e3 * u.defects.tube_bore),
    "condenser-narrowed": ("narrowest bore of the condensing coil", "mm", lambda u: 1e3 * u.defects.coil_bore),
    "weep-hole-blocked": ("open part of the weep hole", "%", lambda u: 100 * u.defects.weep_open),
    "vent-valve-shut": ("open part of the vent", "%", lambda u: 100 * u.defects.vent_open),
    "bottle-vent-shut": ("open part of the way out through the bottle", "%", lambda u: 100 * u.defects.vent_open),
    "reservoir-low": ("depth of water; the outlet stands at 3 mm", "mm", lambda u: 1e3 * u.fill.level(u.stores)),
    "water-too-pure": ("conductivity, of the unit's own water", "%", lambda u: 100 * u.defects.conductivity),
    "not-level": ("tilt at the owner's", "mm/m", lambda u: u.defects.tilt),
    "hot-restart": ("time since another cycle, at the owner's", "min", lambda u: u.defects.rested),
    "coil-open": ("joint in the winding", "Ohm", lambda u: u.defects.winding_joint_ohm),
    "coil-shorted": ("shorted part of the winding", "%", lambda u: 100 * u.defects.shorted_turns),
    "plunger-stuck": (
        "adhesion of the plunger at its seat",
        "N",
        lambda u: u.defects.plunger_grip * u.model.valve.holds,
    ),
    "spring-weak": ("force of the spring", "%", lambda u: 100 * u.defects.spring),
    "rectifier-open": ("joint at one diode", "Ohm", lambda u: u.defects.diode_ohm),
    "lead-high-ohm": ("joint in the valve's lead", "Ohm", lambda u: u.defects.harness_ohm),
    "board-output-dead": ("joint in the board's output", "Ohm", lambda u: u.defects.output_ohm),
    "probe-coated": ("deposit on the probe", "kOhm", lambda u: 1e-3 * u.defects.probe_deposit_ohm),
    "ground-open": ("joint from chamber wall to reference", "kOhm", lambda u: 1e-3 * u.defects.ground_ohm),
    "board-level-input-dead": ("joint in the level input", "kOhm", lambda u: 1e-3 * u.defects.level_input_ohm),
    "fouled": ("open part of the filter, with deposit, film and seat", "%", lambda u: 100 * u.defects.filter_open),
    "heater-open": ("joint in the heater", "Ohm", lambda u: u.defects.heater_joint_ohm),
    "one-element-open": ("joint in one of two like elements", "Ohm", lambda u: u.defects.element_joint_ohm),
    "hot-joint": ("joint in the heater's lead", "Ohm", lambda u: u.defects.lead_joint_ohm),
    "half-wave-switch": ("lost part of every second half wave", "%", lambda u: 100 * u.defects.lost_half_wave),
    "cutout-weak": ("too early by", "K", lambda u: u.defects.cut_out_early),
    "heater-scaled": ("heat contact of element and water", "%", lambda u: 100 * u.defects.heater_contact),
    "vent-valve-open": ("part of the vent that stays open", "%", lambda u: 100 * u.defects.vent_stuck),
    "gasket-worn": ("hole that never closes", "mm", lambda u: 1e3 * u.defects.gasket_hole),
    "mains-low": ("voltage at the socket, of what it should be", "%", lambda u: 100 * u.defects.mains),
    "overload": ("steel more than the instructions allow", "kg", lambda u: u.defects.load),
    "pressure-sensor-off": ("reads too much by", "kPa", lambda u: 1e-3 * u.defects.pressure_off),
    "temp-sensor-off": ("joint in the sensor's circuit", "Ohm", lambda u: u.defects.sensor_ohm),
    "too-little-water": ("probe's tip higher by, of its height", "%", lambda u: 100 * u.defects.probe_shift),
    "too-much-water": ("probe's tip higher by, of its height", "%", lambda u: 100 * u.defects.probe_shift),
    "valve-seat-passing": ("opening of the shut valve", "%", lambda u: 100 * u.defects.seat_leak),
    "door-misaligned": ("hole along the door", "mm", lambda u: 1e3 * u.defects.door_hole),
    "door-not-opening": ("gap of the door, of its 8 mm", "%", lambda u: 100 * u.defects.door_release),
    "dry-heat-weak": ("heat in the dry phase", "%", lambda u: 100 * u.defects.dry_share),
    "fitting-leak": ("hole at a tube joint", "mm", lambda u: 1e3 * u.defects.fitting_hole),
    "gland-leak": ("hole at a gland", "mm", lambda u: 1e3 * u.defects.gland_hole),
    "relief-weeping": ("weeps from, above ambient", "kPa", lambda u: 1e-3 * u.defects.relief_weeps),
    "vent-valve-seat": ("hole at the vent's seat", "mm", lambda u: 1e3 * u.defects.vent_seat_hole),
    "loading": ("part of its condensate that the load keeps", "%", lambda u: 100 * u.vessel.trap),
    "reservoir-overfull": (
        "depth of water; the vent line ends at 110 mm",
        "mm",
        lambda u: 1e3 * u.fill.level(u.stores),
    ),
}


def amount(fault: str, unit: str, severity: float) -> float:
    """How much of it there is on a unit that is made as drawn. Raises as `Unit.set_fault`."""
    made = Unit(make(NOMINALS[unit], 0, share=0.0))
    made.set_fault(fault, severity)
    return AMOUNTS[fault][2](made)


def said(value: float) -> str:
    """Three digits, or "open"."""
    if isinf(value):
        return "open" if value == inf else "-open"
    return f"{value:.3g}" if abs(value) < 1000 else f"{value:.0f}"


def rows() -> list[str]:
    """The lines of the table: the fault (site faults with a star), its amount, and at 0.5 and at 1 on each unit."""
    found = []
    for name, (label, unit, _) in AMOUNTS.items():
        fault = FAULTS[name]
        cells = []
        for profile in NOMINALS:
            has = profile in fault.units
            cells.append(" → ".join(said(amount(name, profile, s)) for s in (0.5, 1.0)) if has else "-")
        found.append(f"| `{name}`{' *' if fault.site else ''} | {label}, {unit} | {' | '.join(cells)} |")
    return found


if __name__ == "__main__":
    print(*rows(), sep="\n")
