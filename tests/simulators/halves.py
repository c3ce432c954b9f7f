"""Measures, fault by fault, the extent at which half of the drawn units complain; prints simulators/unit/halves.py.

    python tests/simulators/halves.py [FAULT ...]

Takes about half an hour of processor time for all of them.
"""

import sys

from complaints import NO_LEVEL, complains, possible

from simulators.plant import FAULTS
from simulators.unit import halves
from simulators.unit.nominals import NOMINALS

SEEDS = range(100, 105)  # an odd number: the middle one decides
STEPS = 6
LIKE = {"demo-18-ac": "demo-18-dc"}  # the same heater and nearly the same chamber: only the fill is measured apart


def half(name: str, unit: str) -> float:
    """Bisection on the extent; the scale of severities is taken away meanwhile."""
    halves.HALVES.setdefault(name, {})[unit] = 0.5
    low, high = 0.0, 1.0
    for _ in range(STEPS):
        middle = (low + high) / 2
        votes = 0
        for k, seed in enumerate(SEEDS):
            votes += complains(name, unit, seed, middle)
            left = len(SEEDS) - k - 1
            if votes > len(SEEDS) // 2 or votes + left <= len(SEEDS) // 2:
                break
        low, high = (low, middle) if votes > len(SEEDS) // 2 else (middle, high)
    return round((low + high) / 2, 3)


def measured(name: str) -> list[str]:
    """Units to measure a fault on."""
    return [unit for unit in NOMINALS if possible(name, unit) and (name in NO_LEVEL or unit not in LIKE)]


def main() -> None:
    for name in sys.argv[1:] or sorted(FAULTS):
        found = {unit: half(name, unit) for unit in measured(name)}
        for unit, like in LIKE.items():
            if possible(name, unit) and unit not in found:
                found[unit] = found[like]
        if found:
            print(f"    {name!r}: {found},".replace("'", '"'), flush=True)


if __name__ == "__main__":
    main()
