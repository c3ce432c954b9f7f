"""What a channel states beside its limit of error: shares, a band of temperatures, resolution, drift, a certificate."""

from __future__ import annotations

import asyncio
import math
from pathlib import Path
from typing import Any, cast

import pytest

from rig.bench.ports import Answer
from rig.bench.readers import QuantityReading, Readers
from rig.errors import InputError
from rig.plan.load import load
from rig.plan.proof_bench import prove_bench
from rig.plan.stated import stated_quantity
from rig.plan.wiring import Bench
from rig.run.readings import from_quantity

TEXT = """\
bench: channels
title: Channels
simulated: false
room: [15 Cel, 30 Cel]
links: {wire: {protocol: modbus-tcp, address: "192.0.2.7:502"}}
instruments:
  analog: {driver: modbus-analog, link: wire, device: 3, channels: 8, serial: A1}
quantities:
  chamber: {instrument: analog, channel: 0, measures: temperature, raw: [0, 20000], means: [0 Cel, 200 Cel],
            accuracy: 0.3 K, %s for: chamber}
"""
CERTIFICATE = (
    "certificate: {number: C-9, points: [{at: 20 Cel, add: 0.1 K, uncertainty: 0.1 K}, "
    "{at: 140 Cel, add: -0.5 K, uncertainty: 0.2 K}]},"
)


class _Module:
    """An analog module that says the same counts of every channel."""

    def __init__(self, counts: int) -> None:
        self._counts = counts

    async def read_raw(self, first: int, count: int) -> Answer[tuple[int, ...]]:
        return Answer((self._counts,) * count, 1.0, 1.1)


def faults(folder: Path, more: str, text: str = TEXT) -> list[str]:
    path = folder / "channels.yaml"
    path.write_text(text % more, encoding="utf-8")
    try:
        return [str(fault) for fault in prove_bench(load(path))]
    except InputError as error:
        return error.lines()


def bench(folder: Path, more: str) -> Bench:
    assert faults(folder, more) == []
    model = load(folder / "channels.yaml").model
    assert isinstance(model, Bench)
    return model


def read(wiring: Bench, counts: int) -> QuantityReading:
    readers = Readers(wiring, {}, cast(Any, {"analog": _Module(counts)}), {})
    return asyncio.run(readers.quantity("chamber")).value


@pytest.mark.parametrize(
    ("more", "half"),
    [
        ("", 0.3),
        ("of-reading: 0.1 %,", 0.3 + 0.134),
        ("of-range: 0.1 %,", 0.3 + 0.2),
        # the room reaches 3 K below and 2 K above the band: the worse end counts
        ("band: [18 Cel, 28 Cel], of-reading-per-kelvin: 0.01 %,", 0.3 + 3 * 0.0134),
        ("band: [18 Cel, 28 Cel], of-range-per-kelvin: 0.01 %,", 0.3 + 3 * 0.02),
        ("band: [15 Cel, 30 Cel], of-reading-per-kelvin: 0.01 %,", 0.3),
        ("drift: 0.1 K,", 0.3),
    ],
)
def test_the_limit_of_error_at_134(tmp_path: Path, more: str, half: float) -> None:
    assert stated_quantity(bench(tmp_path, more), "chamber").half_width(134.0) == pytest.approx(half)


def test_a_certificate_corrects_what_is_read_and_is_named(tmp_path: Path) -> None:
    """By hand: on the line from +0.1 K at 20 Cel to -0.5 K at 140 Cel, 80 Cel is corrected by -0.2 K."""
    wiring = bench(tmp_path, CERTIFICATE)
    found = read(wiring, 8000)
    assert found.value == pytest.approx(79.8)
    reading = from_quantity("chamber", wiring, [found.value], [found.raw])
    (made,) = reading.corrections
    assert (made.name, made.before, made.after) == ("certificate", pytest.approx(80.0), found.value)
    assert "C-9" in made.basis
    assert {line.name: line.u for line in reading.budget}["certificate C-9"] == pytest.approx(0.1)
    assert reading.u == pytest.approx(math.sqrt(0.3**2 / 3 + 0.1**2 + 0.01**2 / 12))
    assert read(bench(tmp_path, ""), 8000).value == pytest.approx(80.0)


@pytest.mark.parametrize(
    ("more", "words"),
    [
        ("drift: 0.7 K,", "cannot drift by 0.7 K"),
        ("drift: 0 K,", "expected a drift above 0"),
        ("drift: 1 Pa,", "expected a drift above 0 as a temperature difference"),
        ("resolution: 0.1 K,", "raw says already what one count is"),
        ("of-reading-per-kelvin: 0.1 %,", "needs a band"),
        ("of-reading: 1 V,", "expected a share"),
        (CERTIFICATE.replace("add: 0.1 K", "add: 0.1 Pa"), "cannot be given in"),
        (CERTIFICATE.replace("uncertainty: 0.1 K", "uncertainty: -0.1 K"), "not negative"),
        ("of-readings: 1 %,", "of-readings"),
    ],
)
def test_a_statement_that_is_not_whole(tmp_path: Path, more: str, words: str) -> None:
    found = faults(tmp_path, more)
    assert len(found) == 1, found
    assert words in found[0]


def test_a_band_asks_for_the_room(tmp_path: Path) -> None:
    found = faults(tmp_path, "band: [18 Cel, 28 Cel],", TEXT.replace("room: [15 Cel, 30 Cel]\n", ""))
    assert len(found) == 1
    assert "chamber" in found[0]
    assert "say room" in found[0]


def test_a_display_says_its_own_step(tmp_path: Path) -> None:
    text = TEXT.replace("raw: [0, 20000], ", "")
    assert faults(tmp_path, "resolution: 0.1 K,", text) == []
    model = load(tmp_path / "channels.yaml").model
    assert isinstance(model, Bench)
    assert stated_quantity(model, "chamber").step == pytest.approx(0.1)
    assert "expected a step above 0" in faults(tmp_path, "resolution: 0 K,", text)[0]
