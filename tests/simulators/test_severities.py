"""What is behind a severity: the README's table is the code's, and half of the units complain at 0.5."""

import re
from pathlib import Path

import pytest
from complaints import complains, possible

from simulators.plant import FAULTS
from simulators.unit.amounts import AMOUNTS, amount, rows
from simulators.unit.nominals import NOMINALS

README = (Path(__file__).parents[2] / "simulators" / "README.md").read_text(encoding="utf-8")


def test_the_readme_has_the_amounts_of_the_code() -> None:
    table = README[README.index("\n## Faults") : README.index("\n## The wires")]
    assert re.findall(r"^\| `.*$", table, re.MULTILINE) == rows()


def test_every_fault_has_an_amount_that_grows_with_its_severity() -> None:
    assert set(AMOUNTS) == set(FAULTS)
    for name, fault in FAULTS.items():
        for unit in fault.units:
            amounts = [amount(name, unit, severity) for severity in (0.1, 0.3, 0.5, 0.8, 1.0)]
            assert amounts in (sorted(amounts), sorted(amounts, reverse=True)), (name, unit)
            assert len(set(amounts)) > 2, (name, unit)


# Cheap ones of each complaint; `python tests/simulators/halves.py` measures all of them.
SAMPLE = ("coil-open", "lead-high-ohm", "fitting-leak", "hot-joint")


@pytest.mark.parametrize("name", SAMPLE)
def test_about_half_of_unseen_units_complain_at_half_severity(name: str) -> None:
    for unit in NOMINALS:
        if possible(name, unit):
            seeds = range(3)
            assert all(complains(name, unit, seed, 0.6) for seed in seeds), (name, unit)
            assert not any(complains(name, unit, seed, 0.4) for seed in seeds), (name, unit)
