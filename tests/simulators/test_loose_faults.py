"""Faults that come and go."""

from itertools import pairwise

import pytest

from simulators.plant import Plant, UnknownName


def ohms(plant: Plant) -> float:
    return plant.unit.circuits.feed.harness_ohm()


def course(plant: Plant, seconds: int, step: float = 0.5) -> list[bool]:
    """Bad or good, looked at every `step` s."""
    seen = []
    for _ in range(round(seconds / step)):
        plant.advance(plant.now + step)
        seen.append(ohms(plant) > 10.0)
    return seen


def test_it_is_there_for_its_part_of_the_time() -> None:
    for duty in (0.2, 0.5, 0.8):
        plant = Plant(seed=1)
        plant.set_fault("lead-high-ohm~", 1.0, duty, 10.0)
        seen = course(plant, 8000)
        assert sum(seen) / len(seen) == pytest.approx(duty, abs=0.08)
        changes = sum(a != b for a, b in pairwise(seen))
        assert changes == pytest.approx(2 * 800, rel=0.2)


def test_asking_does_not_change_when_it_comes() -> None:
    rough, fine = Plant(seed=2, faults={"lead-high-ohm~": 1.0}), Plant(seed=2, faults={"lead-high-ohm~": 1.0})
    often = course(fine, 300, 0.1)
    assert course(rough, 300, 0.5) == often[4::5]
    assert True in often and False in often


def test_seeds_differ_and_it_can_be_taken_out() -> None:
    courses = [course(Plant(seed=seed, faults={"lead-high-ohm~": 1.0}), 200) for seed in (1, 2)]
    assert courses[0] != courses[1]
    plant = Plant(seed=1, faults={"lead-high-ohm~": 1.0})
    plant.advance(100.0)
    plant.set_fault("lead-high-ohm~", 0.0)
    assert not any(course(plant, 200))
    plant.set_fault("lead-high-ohm~", 1.0)
    plant.set_fault("lead-high-ohm", 1.0)  # for good now
    assert all(course(plant, 200))


def test_it_goes_with_others_that_stay() -> None:
    plant = Plant(seed=1, faults={"filter-choked": 0.3, "lead-high-ohm~": 1.0})
    assert True in course(plant, 200)
    assert plant.unit.defects.filter_open < 1.0


@pytest.mark.parametrize(
    ("name", "severity", "duty", "period", "says"),
    [
        ("reservoir-low~", 1.0, 0.5, 20.0, "state"),
        ("coil-open~", 1.0, 0.0, 20.0, "duty"),
        ("coil-open~", 1.0, 0.5, 0.0, "period"),
        ("coil-open~", 1.5, 0.5, 20.0, "severity"),
    ],
)
def test_what_cannot_be(name: str, severity: float, duty: float, period: float, says: str) -> None:
    with pytest.raises(ValueError, match=says):
        Plant(seed=1).set_fault(name, severity, duty, period)
    with pytest.raises(UnknownName, match="coil-open"):
        Plant(seed=1, faults={"coil-opem~": 1.0})
