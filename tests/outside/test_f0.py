"""F0 against its definition: minutes at a constant temperature (the definition is that of moist-heat practice,
ISO 17665; its clause was not read). The figures follow from it and were computed apart from the code."""

from __future__ import annotations

import math

import pytest

from rig.steam import f0


@pytest.mark.parametrize(
    ("celsius", "minutes", "base", "expected"),
    [
        (121.1, 15.0, 121.1, 15.0),
        (111.1, 15.0, 121.1, 1.5),
        (124.1, 15.0, 121.1, 29.929),
        (134.0, 3.0, 121.1, 58.495),
        (134.0, 3.5, 121.1, 68.245),
        (126.0, 10.0, 121.1, 30.903),
        (132.0, 4.0, 121.1, 49.211),
        (121.0, 15.0, 121.1, 14.659),
        (115.0, 30.0, 121.1, 7.364),
        (134.0, 18.0, 121.1, 350.97),
        (134.0, 3.0, 121.11, 58.361),  # 250 degF
        (134.0, 3.0, 121.0, 59.858),  # 2.3 % more: the base belongs to the number
    ],
)
def test_constant_temperature(celsius: float, minutes: float, base: float, expected: float) -> None:
    times = [minutes * 60 * n / 7 for n in range(8)]
    found = f0(times, [celsius] * 8, base=base)
    assert found.minutes == pytest.approx(expected, rel=1e-4, abs=1e-3)
    assert (found.base, found.z) == (base, 10.0)


@pytest.mark.parametrize("parts", [1, 2, 60])
def test_a_straight_rise_is_exact_however_it_is_cut(parts: int) -> None:
    """Closed form of the integral: z / (ln 10 rate) (10^((T2 - base)/z) - 10^((T1 - base)/z))."""
    times = [600.0 * n / parts for n in range(parts + 1)]
    celsius = [104.0 + 30.0 * t / 600.0 for t in times]
    closed = 10 / (math.log(10) * 0.05) * (10 ** ((134 - 121.1) / 10) - 10 ** ((104 - 121.1) / 10))
    assert f0(times, celsius).seconds == pytest.approx(closed, rel=1e-12)


def test_a_sensor_half_a_kelvin_off_moves_f0_by_an_eighth() -> None:
    """Derived: 10^(0.05) - 1 = 12.2 %; to first order ln(10)/10 times 0.5 = 11.5 %."""
    held = f0([0.0, 180.0], [134.0, 134.0])
    assert held.u(0.5) / held.seconds == pytest.approx(0.11513, abs=1e-5)


def test_what_was_not_seen_does_not_count() -> None:
    found = f0([0.0, 10.0, 100.0, 110.0], [121.1] * 4, longest_gap=30.0)
    assert (found.seconds, found.gaps) == (pytest.approx(20.0), 90.0)


@pytest.mark.parametrize(
    ("times", "celsius"), [([0.0, 1.0], [121.0]), ([0.0, 0.0], [121.0, 121.0]), ([0.0, 1.0], [121.0, math.nan])]
)
def test_bad_samples_are_refused(times: list[float], celsius: list[float]) -> None:
    with pytest.raises(ValueError, match=r"F0|temperatures"):
        f0(times, celsius)
