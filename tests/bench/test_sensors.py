"""Temperature sensors behind channels that read ohms or volts: from counts to Cel, against the published points.

Resistances: IEC 60751:2022. Voltages: NIST Monograph 175 (SRD 60), reference function at the hot junction less that at
the cold one. Their further digits are those of two libraries that cite the same standards.
"""

from __future__ import annotations

import asyncio
from pathlib import Path
from typing import Any, cast

import pytest

from rig.bench.ports import Answer
from rig.bench.readers import QuantityReading, Readers
from rig.errors import BadAnswer, InputError
from rig.plan.load import load
from rig.plan.proof_bench import prove_bench
from rig.plan.stated import stated_quantity
from rig.plan.wiring import Bench
from rig.run.readings import from_quantity

HEAD = """\
bench: sensors
title: Sensors
simulated: false
links: {wire: {protocol: modbus-tcp, address: "192.0.2.7:502"}}
instruments:
  analog: {driver: modbus-analog, link: wire, device: 3, channels: 8, serial: A1}
quantities:
  terminals: {instrument: analog, channel: 0, measures: temperature, raw: [0, 20000], means: [0 Cel, 200 Cel], accuracy: 0.3 K, for: terminals}
"""  # noqa: E501
PT100 = (
    "  chamber: {instrument: analog, channel: 1, measures: temperature, raw: [0, 20000], means: [80 Ohm, 180 Ohm], "
    "accuracy: 20 mOhm, sensor: {kind: pt100, class: A}, for: chamber}\n"
)
COUPLE = (
    "  vent: {instrument: analog, channel: 2, measures: temperature, raw: [0, 30000], means: [-2 mV, 10 mV], "
    "accuracy: 5 uV, sensor: {kind: %s, cold-junction: terminals, tolerance: 1.5 K}, for: vent line}\n"
)


class _Module:
    """An analog module with counts of the test's own."""

    def __init__(self, counts: dict[int, int]) -> None:
        self._counts = counts

    async def read_raw(self, first: int, count: int) -> Answer[tuple[int, ...]]:
        return Answer(tuple(self._counts[n] for n in range(first, first + count)), 1.0, 1.1)


def bench(folder: Path, text: str) -> Bench:
    path = folder / "sensors.yaml"
    path.write_text(HEAD + text, encoding="utf-8")
    loaded = load(path)
    assert prove_bench(loaded) == []
    assert isinstance(loaded.model, Bench)
    return loaded.model


def read(wiring: Bench, name: str, counts: dict[int, int]) -> QuantityReading:
    readers = Readers(wiring, {}, cast(Any, {"analog": _Module(counts)}), {})
    return asyncio.run(readers.quantity(name)).value


@pytest.mark.parametrize(
    ("ohms", "celsius"), [(80.3063, -50.0), (100.0, 0.0), (107.7935, 20.0), (138.5055, 100.0), (151.3343, 134.0)]
)
def test_a_pt100_channel(tmp_path: Path, ohms: float, celsius: float) -> None:
    wiring = bench(tmp_path, PT100)
    counts = round((ohms - 80.0) / 100.0 * 20000)  # 5 mOhm a count: 13 mK
    found = read(wiring, "chamber", {1: counts})
    assert found.value == pytest.approx(celsius, abs=0.008)
    reading = from_quantity("chamber", wiring, [found.value], [found.raw])
    (made,) = reading.corrections
    assert (made.name, made.before_unit, made.unit) == ("pt100", "Ohm", "Cel")
    assert made.before == pytest.approx(ohms, abs=2.6e-3)
    assert made.after == found.value
    assert made.basis == "Pt100, IEC 60751:2022"


@pytest.mark.parametrize(
    ("kind", "hot_mv", "cold_mv", "at_23"),
    [("type-k", 5.491126, 0.798120, 4.571845), ("type-t", 5.909742, 0.789612, 4.998962)],
)
def test_a_thermocouple_adds_its_cold_junction(
    tmp_path: Path, kind: str, hot_mv: float, cold_mv: float, at_23: float
) -> None:
    """134 Cel with terminals at 20 Cel and at 23 Cel: the voltages subtract, the temperatures do not (adding 23 K
    afterwards would give 134.5 Cel and 138.2 Cel)."""
    wiring = bench(tmp_path, COUPLE % kind)
    counts = {0: 2000, 2: round((hot_mv - cold_mv + 2.0) / 12.0 * 30000)}  # 0.4 uV a count: 10 mK
    found = read(wiring, "vent", counts)
    assert found.cold == pytest.approx(20.0)
    assert found.value == pytest.approx(134.0, abs=0.01)
    warmer = read(wiring, "vent", {0: 2300, 2: round((at_23 + 2.0) / 12.0 * 30000)})
    assert warmer.value == pytest.approx(134.0, abs=0.01)
    reading = from_quantity("vent", wiring, [found.value] * 2, [found.raw] * 2, "", [20.0, 20.0])
    (made,) = reading.corrections
    assert made.before == pytest.approx((hot_mv - cold_mv) * 1e-3, abs=3e-7)
    assert "ITS-90" in made.basis
    assert "20 Cel (terminals)" in made.basis


def test_what_the_channel_states(tmp_path: Path) -> None:
    """By hand: 20 mOhm over the least slope, that at the hot end (0.3691 Ohm/K at 212.7 Cel for 180 Ohm), and class A
    at 134 Cel, 0.418 K (IEC 60751)."""
    wiring = bench(tmp_path, PT100 + COUPLE % "type-k")
    stated = {term.name: term.half_width(134.0) for term in stated_quantity(wiring, "chamber").terms}
    assert stated == {"limit of error": pytest.approx(0.02 / 0.3662, abs=5e-4), "sensor": pytest.approx(0.418)}
    assert wiring.quantities["chamber"].ends()[1] == pytest.approx(211.3, abs=0.5)
    couple = {term.name: term.half_width(134.0) for term in stated_quantity(wiring, "vent").terms}
    assert couple["sensor"] == 1.5
    assert 0.3 <= couple["cold junction"] <= 0.33  # a kelvin at the terminals is one at the other end, nearly
    assert couple["limit of error"] == pytest.approx(5e-6 / 39.4e-6, abs=0.01)


def test_an_open_sensor_is_no_temperature(tmp_path: Path) -> None:
    wiring = bench(tmp_path, PT100.replace("[80 Ohm, 180 Ohm]", "[0.02 kOhm, 390 Ohm]"))
    with pytest.raises(BadAnswer, match="what no pt100 does"):
        read(wiring, "chamber", {1: 30000})


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (PT100.replace("80 Ohm, 180 Ohm", "0 Cel, 200 Cel"), "is read in Ohm"),
        (PT100.replace("20 mOhm", "0.1 K"), "is read in Ohm"),
        (PT100.replace("80 Ohm, 180 Ohm", "0 Ohm, 180 Ohm"), "no resistance"),
        (PT100.replace("class: A", "class: D"), "AA"),
        (PT100.replace(", class: A", ""), "expected class"),
        (PT100.replace("class: A", "class: A, tolerance: 1 K"), "expected class"),
        (PT100.replace("class: A", "tolerance: 1 Cel"), "tolerance"),
        (PT100.replace("class: A", "class: A, cold-junction: terminals"), "cold-junction"),
        (PT100.replace("measures: temperature", "measures: pressure"), "temperature"),
        (COUPLE % "type-j", "type-k"),
        ((COUPLE % "type-k").replace("cold-junction: terminals, ", ""), "cold-junction"),
        ((COUPLE % "type-k").replace("terminals", "terminal"), "terminals"),
        ((COUPLE % "type-k").replace("cold-junction: terminals", "cold-junction: vent"), "itself"),
    ],
)
def test_a_sensor_that_is_not_whole(tmp_path: Path, text: str, words: str) -> None:
    path = tmp_path / "sensors.yaml"
    path.write_text(HEAD + text, encoding="utf-8")
    try:
        faults = list(map(str, prove_bench(load(path))))
    except InputError as error:
        faults = error.lines()
    assert len(faults) == 1, faults
    assert words in faults[0]
