"""Thermometers against their standards: IEC 60751:2022 (Pt100) and NIST Monograph 175 / SRD 60 (types K and T, ITS-90).

The digits beyond the printed tables were computed with two libraries that cite the same standards.
"""

from __future__ import annotations

import pytest

from rig.judgement import pt100, thermocouple


@pytest.mark.parametrize(
    ("celsius", "ohms"),
    [
        (-200, 18.5201), (-100, 60.2558), (-50, 80.3063), (0, 100.0), (20, 107.7935), (25, 109.7347), (50, 119.3971),
        (100, 138.5055), (121, 146.4449), (132, 150.5833), (134, 151.3343), (135, 151.7096), (138, 152.8347),
        (200, 175.8560), (850, 390.4811),
    ],
)  # fmt: skip
def test_pt100(celsius: float, ohms: float) -> None:
    assert pt100.ohms(celsius) == pytest.approx(ohms, abs=5e-5)
    assert pt100.celsius(pt100.ohms(celsius)) == pytest.approx(celsius, abs=1e-8)
    assert pt100.celsius(10 * ohms, r0=1000.0) == pytest.approx(celsius, abs=2e-4)


@pytest.mark.parametrize(("ohms", "celsius"), [(151.2, 133.64233), (138.5055, 100.0)])
def test_pt100_backwards(ohms: float, celsius: float) -> None:
    assert pt100.celsius(ohms) == pytest.approx(celsius, abs=1e-5)


def test_an_ohm_of_lead_is_two_and_a_half_kelvin() -> None:
    """Derived: 0.37535 Ohm/K at 134 Cel, so 0.38 Ohm are 1.0 K."""
    assert pt100.slope(134.0) == pytest.approx(0.37535, abs=2e-5)
    assert pt100.celsius(pt100.ohms(134.0) + 0.38) - 134.0 == pytest.approx(1.01, abs=0.01)
    assert pt100.slope(-60.0) == pytest.approx((pt100.ohms(-59.99) - pt100.ohms(-60.01)) / 0.02, rel=1e-7)


@pytest.mark.parametrize(("of_class", "kelvin"), [("AA", 0.3278), ("A", 0.418), ("B", 0.97), ("C", 1.94)])
def test_tolerance_classes_at_134(of_class: str, kelvin: float) -> None:
    assert pt100.tolerance(of_class, 134.0) == pytest.approx(kelvin, abs=1e-6)


@pytest.mark.parametrize("ohms", [10.0, 400.0, float("nan")])
def test_no_temperature_for_what_no_pt100_has(ohms: float) -> None:
    with pytest.raises(ValueError, match="no resistance"):
        pt100.celsius(ohms)


POINTS = [
    ("K", -50, -1.889383), ("K", 20, 0.798120), ("K", 25, 1.000242), ("K", 50, 2.023078), ("K", 100, 4.096230),
    ("K", 121, 4.960841), ("K", 134, 5.491126), ("K", 135, 5.531749), ("K", 138, 5.653474), ("K", 200, 8.138473),
    ("T", -50, -1.819036), ("T", 20, 0.789612), ("T", 25, 0.991977), ("T", 50, 2.035722), ("T", 100, 4.278519),
    ("T", 121, 5.276676), ("T", 134, 5.909742), ("T", 135, 5.958904), ("T", 138, 6.106780), ("T", 200, 9.288102),
]  # fmt: skip


@pytest.mark.parametrize(("kind", "celsius", "millivolts"), POINTS)
def test_thermocouples(kind: str, celsius: float, millivolts: float) -> None:
    assert thermocouple.millivolts(kind, celsius) == pytest.approx(millivolts, abs=1e-6)
    assert thermocouple.temperature(kind, millivolts, 0.0) == pytest.approx(celsius, abs=5e-5)


@pytest.mark.parametrize(("kind", "input_mv", "naive"), [("K", 4.571845, 134.525), ("T", 4.998962, 138.222)])
def test_cold_junction(kind: str, input_mv: float, naive: float) -> None:
    """Derived: hot junction at 134 Cel, terminals at 23 Cel. Adding 23 K to what the voltage alone says is wrong."""
    assert thermocouple.temperature(kind, input_mv, 23.0) == pytest.approx(134.0, abs=0.001)
    wrong = thermocouple.temperature(kind, input_mv, 0.0) + 23.0
    assert wrong == pytest.approx(naive, abs=0.001)


def test_the_two_branches_meet() -> None:
    for kind in thermocouple.KINDS:
        assert thermocouple.millivolts(kind, 0.0) == pytest.approx(0.0, abs=1e-6)
        assert thermocouple.slope(kind, 134.0) == pytest.approx({"K": 0.0406, "T": 0.0492}[kind], abs=2e-4)


@pytest.mark.parametrize(("kind", "mv"), [("K", 70.0), ("T", 30.0), ("T", -9.0)])
def test_no_temperature_for_what_no_thermocouple_gives(kind: str, mv: float) -> None:
    with pytest.raises(ValueError, match="beyond what type"):
        thermocouple.temperature(kind, mv, 20.0)
