"""Accuracy statements in the bench file: counts, temperature beyond a band, age since calibration."""

from __future__ import annotations

import math
from datetime import date

import pytest

from rig.bench.meter_path import MeterReading
from rig.plan.channels import Accuracy
from rig.plan.load import load_named
from rig.plan.stated import statement_of, why_none
from rig.plan.wiring import Bench
from rig.run.readings import from_meter

TODAY = date(2026, 11, 26)
LINE = {"function": "DC volts", "range": "10 V", "of-reading": "0.01 %", "of-range": "0.002 %"}


def bench(lines: list[dict[str, object]], room: list[str] | None = None, calibrated: str | None = None) -> Bench:
    found = load_named("bench", "simulated").model
    assert isinstance(found, Bench)
    meter = found.instruments["meter-1"].model_copy(
        update={"accuracy": tuple(Accuracy.model_validate(n) for n in lines), "calibrated": calibrated}
    )
    ends = None if room is None else Bench.model_validate(_as_written(room)).room
    return found.model_copy(update={"instruments": {**found.instruments, "meter-1": meter}, "room": ends})


def _as_written(room: list[str]) -> dict[str, object]:
    return {
        "bench": "small", "title": "small", "simulated": True, "links": {}, "instruments": {}, "room": room,
    }  # fmt: skip


def half_width(of: Bench, value: float) -> float:
    found = statement_of(of, "meter-1", "DC volts", 10.0, TODAY)
    assert found is not None
    return found.half_width(value)


def test_shares_and_counts_add_up() -> None:
    """By hand: 0.01 % of 5 V, 0.002 % of 10 V, 3 counts of 100 uV."""
    assert half_width(bench([LINE]), 5.0) == pytest.approx(0.5e-3 + 0.2e-3)
    counts = {**LINE, "counts": 3, "resolution": "100 uV"}
    assert half_width(bench([counts]), -5.0) == pytest.approx(1.0e-3)
    lines = statement_of(bench([counts]), "meter-1", "DC volts", 10.0, TODAY).lines(5.0)  # type: ignore[union-attr]
    assert {line.name: line.u for line in lines}["resolution"] == pytest.approx(1e-4 / math.sqrt(12))


def test_a_warm_room_widens_the_statement() -> None:
    """By hand: the room reaches 5 K beyond the band of 18 to 28 Cel; 0.001 % of the reading for each."""
    warm = {**LINE, "band": ["18 Cel", "28 Cel"], "of-reading-per-kelvin": "0.001 %"}
    assert half_width(bench([warm], ["16 Cel", "33 Cel"]), 5.0) == pytest.approx(0.7e-3 + 5 * 5e-5)
    assert half_width(bench([warm], ["20 Cel", "26 Cel"]), 5.0) == pytest.approx(0.7e-3)


def test_the_statement_for_the_age_of_the_calibration() -> None:
    day = {**LINE, "within": "1 d", "of-reading": "0.002 %"}
    year = {**LINE, "within": "365 d"}
    for calibrated, expected in (("2026-11-25", 0.3e-3), ("2026-01-01", 0.7e-3)):
        assert half_width(bench([year, day], calibrated=calibrated), 5.0) == pytest.approx(expected)
    for calibrated, words in (("2025-11-01", "holds for 365 d after calibration"), (None, "no date")):
        old = bench([year, day], calibrated=calibrated)
        assert statement_of(old, "meter-1", "DC volts", 10.0, TODAY) is None
        assert words in why_none(old, "meter-1", "DC volts", 10.0, TODAY)


def test_no_line_for_the_range() -> None:
    assert statement_of(bench([LINE]), "meter-1", "DC volts", 100.0, TODAY) is None
    assert "no accuracy for this function and range" in why_none(bench([LINE]), "meter-1", "DC volts", 100.0, TODAY)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"counts": 3}, "counts need a resolution"),
        ({"of-reading-per-kelvin": "0.1 %"}, "needs a band"),
        ({"resolution": "1 mA"}, "cannot be given in"),
    ],
)
def test_a_statement_that_is_not_whole(change: dict[str, object], words: str) -> None:
    with pytest.raises(ValueError, match=words):
        Accuracy.model_validate({**LINE, **change})


def test_a_certificate_corrects_on_a_line_between_its_points() -> None:
    """By hand: -2 mV at 2 V and +4 mV at 8 V are 0 at 4 V; beyond its points the nearest counts. U = 1 mV, k = 2."""
    points = [
        {"at": "8 V", "add": "4 mV", "uncertainty": "1 mV"},
        {"at": "2 V", "add": "-2 mV", "uncertainty": "0.4 mV"},
    ]
    found = statement_of(
        bench([{**LINE, "certificate": {"number": "C-17", "points": points}}]), "meter-1", "DC volts", 10.0, TODAY
    )
    assert found is not None
    assert found.certificate is not None
    for at, add in ((4.0, 0.0), (2.0, -2e-3), (9.0, 4e-3), (-1.0, -2e-3), (6.5, 2.5e-3)):
        assert found.certificate.correction(at)[0] == pytest.approx(add)
    reading = from_meter(MeterReading((4.0, 4.0002), "V", 10.0, found, "", None, 0.0))
    (made,) = reading.corrections
    assert (made.name, made.before, made.after) == ("certificate", pytest.approx(4.0001), reading.value)
    assert "C-17" in made.basis
    assert {line.name: line.u for line in reading.budget}["certificate C-17"] == pytest.approx(0.5e-3)
