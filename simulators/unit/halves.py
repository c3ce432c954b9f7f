"""The extent of each fault at which its complaint appears in half of the units of a profile: severity 0.5.

Measured by `python tests/simulators/halves.py` on drawn units; 0.5 where nothing else is said.
"""

HALVES: dict[str, dict[str, float]] = {
    "board-level-input-dead": {"demo-18-ac": 0.492, "demo-18-dc": 0.492, "demo-24-dc": 0.492},
    "board-output-dead": {"demo-18-ac": 0.523, "demo-18-dc": 0.492, "demo-24-dc": 0.492},
    "bottle-vent-shut": {"demo-24-dc": 0.461},
    "coil-open": {"demo-18-ac": 0.523, "demo-18-dc": 0.492, "demo-24-dc": 0.492},
    "coil-shorted": {"demo-18-ac": 0.523, "demo-18-dc": 0.508, "demo-24-dc": 0.492},
    "condenser-narrowed": {"demo-18-dc": 0.492, "demo-24-dc": 0.414},
    "cutout-weak": {"demo-18-ac": 0.461, "demo-18-dc": 0.461, "demo-24-dc": 0.43},
    "door-misaligned": {"demo-18-ac": 0.508, "demo-18-dc": 0.508, "demo-24-dc": 0.523},
    "door-not-opening": {"demo-18-ac": 0.453, "demo-18-dc": 0.453, "demo-24-dc": 0.397},
    "dry-heat-weak": {"demo-18-ac": 0.789, "demo-18-dc": 0.789, "demo-24-dc": 0.289},
    "filter-choked": {"demo-18-ac": 0.508, "demo-18-dc": 0.508, "demo-24-dc": 0.477},
    "fitting-leak": {"demo-18-ac": 0.508, "demo-18-dc": 0.508, "demo-24-dc": 0.523},
    "fouled": {"demo-18-ac": 0.523, "demo-18-dc": 0.523, "demo-24-dc": 0.492},
    "gasket-worn": {"demo-18-ac": 0.523, "demo-18-dc": 0.523, "demo-24-dc": 0.586},
    "gland-leak": {"demo-18-ac": 0.508, "demo-18-dc": 0.508, "demo-24-dc": 0.523},
    "ground-open": {"demo-18-ac": 0.492, "demo-18-dc": 0.492, "demo-24-dc": 0.492},
    "half-wave-switch": {"demo-18-ac": 0.523, "demo-18-dc": 0.523, "demo-24-dc": 0.523},
    "heater-open": {"demo-18-ac": 0.508, "demo-18-dc": 0.508, "demo-24-dc": 0.477},
    "heater-scaled": {"demo-18-ac": 0.539, "demo-18-dc": 0.539, "demo-24-dc": 0.461},
    "hot-joint": {"demo-18-ac": 0.539, "demo-18-dc": 0.539, "demo-24-dc": 0.477},
    "lead-high-ohm": {"demo-18-ac": 0.758, "demo-18-dc": 0.492, "demo-24-dc": 0.445},
    "line-narrowed": {"demo-18-ac": 0.492, "demo-18-dc": 0.492, "demo-24-dc": 0.43},
    "loading": {"demo-18-ac": 0.289, "demo-18-dc": 0.289, "demo-24-dc": 0.305},
    "mains-low": {"demo-18-ac": 0.289, "demo-18-dc": 0.289, "demo-24-dc": 0.289},
    "one-element-open": {"demo-18-ac": 0.508, "demo-18-dc": 0.508, "demo-24-dc": 0.477},
    "overload": {"demo-18-ac": 0.289, "demo-18-dc": 0.289, "demo-24-dc": 0.367},
    "plunger-stuck": {"demo-18-ac": 0.617, "demo-18-dc": 0.508, "demo-24-dc": 0.477},
    "pressure-sensor-off": {"demo-18-ac": 0.523, "demo-18-dc": 0.523, "demo-24-dc": 0.523},
    "probe-coated": {"demo-18-ac": 0.508, "demo-18-dc": 0.508, "demo-24-dc": 0.508},
    "rectifier-open": {"demo-18-dc": 0.492, "demo-24-dc": 0.492},
    "relief-weeping": {"demo-18-ac": 0.742, "demo-18-dc": 0.742, "demo-24-dc": 0.742},
    "reservoir-low": {"demo-18-ac": 0.492, "demo-18-dc": 0.508, "demo-24-dc": 0.461},
    "reservoir-overfull": {"demo-18-ac": 0.508, "demo-18-dc": 0.508, "demo-24-dc": 0.539},
    "spring-weak": {"demo-18-ac": 0.497, "demo-18-dc": 0.497, "demo-24-dc": 0.497},
    "temp-sensor-off": {"demo-18-ac": 0.633, "demo-18-dc": 0.633, "demo-24-dc": 0.633},
    "too-little-water": {"demo-18-ac": 0.711, "demo-18-dc": 0.711, "demo-24-dc": 0.695},
    "too-much-water": {"demo-18-ac": 0.445, "demo-18-dc": 0.445, "demo-24-dc": 0.336},
    "valve-seat-passing": {"demo-18-ac": 0.648, "demo-18-dc": 0.648, "demo-24-dc": 0.68},
    "vent-valve-open": {"demo-18-ac": 0.477, "demo-18-dc": 0.477, "demo-24-dc": 0.477},
    "vent-valve-seat": {"demo-18-ac": 0.508, "demo-18-dc": 0.508, "demo-24-dc": 0.523},
    "vent-valve-shut": {"demo-18-ac": 0.477, "demo-18-dc": 0.477, "demo-24-dc": 0.461},
    "water-too-pure": {"demo-18-ac": 0.461, "demo-18-dc": 0.461, "demo-24-dc": 0.461},
    "weep-hole-blocked": {"demo-18-dc": 0.508, "demo-24-dc": 0.477},
}


def half_of(fault: str, unit: str) -> float:
    """The extent that severity 0.5 means."""
    return HALVES.get(fault, {}).get(unit, 0.5)
