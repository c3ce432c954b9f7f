"""What is measured can be measured there; units, ranges, limits and formulas fit."""

# ruff: noqa: E501 (tables: one case a line)

from __future__ import annotations

import pytest
from small_shop import Shop

from rig.plan.check import look_over


@pytest.mark.parametrize(
    ("old", "new", "at", "words"),
    [
        # what a place measures
        ("measure: DC volts\n", "measure: AC volts\n", "AC volts", ("valve-plug", "DC volts", "AC volts")),
        ("measure: temperature\n        at: room", "measure: pressure\n        at: room", "pressure", ("room", "temperature")),
        ("waveform: shunt", "waveform: coil-ends", "waveform: ^coil-ends", ("dip", "DC", "resistance four-wire")),
        # ranges
        ("range: 100 V\n", "range: 100 mA\n", "100 mA", ("range", "voltage")),
        ("range: 100 V\n", "range: 0 V\n", "range: ^0 V", ("above 0",)),
        ("range: 100 V\n", "range: 1 kV\n", "1 kV", ("accuracy", "dmm", "100 V")),
        ("at: room\n", "at: room\n        range: 100 Cel\n", "100 Cel", ("room", "no range")),
        ("settle: 5 s\n", "settle: 5 s\n            over-range: open circuit\n", "^open circuit\n            range", ("open circuit", "DC volts")),
        # limits
        ("{at-least: 10 Cel, at-most: 35 Cel, source: invented}", "{at-least: 10 K, source: invented}", "{at-least: 10 K", ("K", "temperature difference", "temperature")),
        ("{at-least: 20 V, at-most: 30 V, source: invented}", "{profile: fill-time}", "profile: ^fill-time}\n          - step", ("time", "voltage")),
        ("limit: {profile: fill-time}", "limit: {profile: fil-time}", "fil-time", ("fill-time", "small-unit")),
        ("{at-least: 30 mA, source: invented}", "{at-least: 30 mV, source: invented}", "{at-least: 30 mV", ("voltage", "current")),
        ("{at-least: 2 g/s, source: invented}", "{at-least: 2 g, source: invented}", "{at-least: 2 g,", ("mass", "mass flow")),
        ("{at-most: 0.2 Ohm, source: invented}", "{at-most: 0.2 V, source: invented}", "{at-most: 0.2 V", ("voltage", "resistance")),
        ("{at-least: 9 K/min, source: invented}", "{at-least: 9 K, source: invented}", "{at-least: 9 K,", ("temperature rate",)),
        ("{at-least: 20 V, at-most: 30 V, source: invented}", "{at-most: 120 V, source: invented}", "{at-most: 120 V", ("120 V", "range 100 V")),
        ("at-most: 35 Cel", "at-most: 350 Cel", "{at-least: 10 Cel, at-most: 350", ("350 Cel", "room", "200 Cel")),
        # a person's uncertainty
        ("standard-uncertainty: 5 mOhm", "standard-uncertainty: 5 mV", "5 mV", ("Ohm", "5 mV")),
        ("standard-uncertainty: 5 mOhm", "standard-uncertainty: 0 mOhm", "0 mOhm", ("above 0",)),
        # times
        ("give-up: profile fill.give-up", "give-up: profile fill.giveup", "profile fill.giveup", ("fill.giveup", "fill.give-up")),
        ("give-up: profile fill.give-up", "give-up: profile fill.valve", "profile fill.valve", ("DC coil", "quantity")),
        ("give-up: profile fill.give-up", "give-up: profile mains.voltage", "profile mains.voltage", ("230 V", "time")),
        ("every: 100 ms", "every: 10 ms", "10 ms", ("20 ms",)),
        ("every: 1 s\n            judge: highest", "every: 1 ms\n            judge: highest", "1 ms", ("20 ms",)),
        ("interval: 100 us", "interval: 20 ms", "20 ms", ("points",)),
        ("interval: 100 us\n        for: 100 ms", "interval: 1 us\n        for: 10 s", "1 us", ("points",)),
        ("              for: 10 s\n", "", "^step: rate", ("for", "meanwhile")),
        # edges of quantities
        ("reaches: 90 Cel", "reaches: 90 kPa", "90 kPa", ("temperature", "90 kPa")),
        ("reaches: 90 Cel", "reaches: 900 Cel", "900 Cel", ("room", "200 Cel")),
        ("reaches: 90 Cel", "falls-to: -5 Cel", "-5 Cel", ("room", "0 Cel")),
        # formulas
        ("compute: 50 K / to-90", "compute: 50 K / to-9", "50 K / to-9", ("to-9", "to-90")),
        ("compute: 50 K / to-90", "compute: 50 K / rise", "50 K / rise", ("rise", "earlier")),
        ("compute: 50 K / to-90", "compute: 50 K / power", "50 K / power", ("power", "no reading")),
        ("compute: 50 K / to-90", "compute: 50 K / to-90-ambient", "50 K / to-90-ambient", ("to-90 - ambient", "spaces")),
        ("compute: 50 K / to-90", "compute: 50 K +", "50 K +", ("character 7", "the end")),
        ("compute: 50 K / to-90", "compute: 50 K + to-90", "50 K + to-90", ("character 6", "time", "temperature")),
        ("compute: 50 K / to-90", "compute: 50 V / to-90", "^K/min\n", ("K/min",)),
        ("compute: 50 K / to-90", "compute: 50 K / fill.give", "50 K / fill.give", ("fill.give", "fill.give-up")),
        ("copper-at-20(coil, ambient)", "copper-at-20(ambient, coil)", "copper-at-20(ambient", ("resistance", "temperature")),
    ],
)  # fmt: skip
def test_a_reading_that_does_not_fit(shop: Shop, old: str, new: str, at: str, words: tuple[str, ...]) -> None:
    shop.change(old, new).expect("procedure", at, *words)


def test_a_slope_without_a_unit(shop: Shop) -> None:
    changed = shop.change(
        "measures: mass, raw: [0, 30000], means: [0 g, 3 kg], accuracy: 1 g",
        "measures: AC volts, raw: [0, 30000], means: [0 V, 300 V], accuracy: 1 V",
    )
    changed.expect("procedure", "slope of jug", "slope", "voltage")


def test_a_limit_lies_beyond_the_channel_through_the_profile(shop: Shop) -> None:
    changed = shop.change("{at-least: 10 Cel, at-most: 35 Cel, source: invented}", "{profile: warm}").change(
        "limits:\n", "limits:\n  warm: {at-most: 300 Cel, source: invented}\n"
    )
    changed.expect("procedure", "profile: ^warm", "300 Cel", "warm", "room")


def test_a_meter_without_a_line_for_the_function(shop: Shop) -> None:
    changed = shop.change(
        "      - {function: resistance four-wire, range: 1 kOhm, of-reading: 0.01 %, of-range: 0.01 %}\n", ""
    )
    changed.expect("procedure", "measure: ^resistance four-wire", "dmm", "accuracy", "resistance four-wire")


def test_amps_through_a_shunt_need_the_meters_volts(shop: Shop) -> None:
    step = "      - step: amps\n        measure: DC amps\n        at: shunt\n        range: {}\n        no-limit: invented\n"
    before = "      - step: again\n"
    assert shop.change(before, step.format("1 A") + before).faults() == []
    shop.change(before, step.format("2000 A") + before).expect("procedure", "2000 A", "DC volts", "100 V")


def test_a_procedure_without_a_unit_cannot_ask_for_its_facts_or_limits(shop: Shop) -> None:
    changed = shop.change('revision: "1"\nas-found', 'revision: "1"\nneeds-unit: no\nas-found')
    from rig.plan.proof import prove

    found = prove(changed.load("procedure"), None, changed.load("bench"))
    places = {(f.line, f.column) for f in found}
    assert places == {
        changed.place("procedure", "profile: ^coil}\n      - step: coil-at-20"),
        changed.place("procedure", "profile: ^coil}\n      - step: earth"),
        changed.place("procedure", "profile fill.give-up"),
        changed.place("procedure", "profile: ^fill-time"),
    }
    assert all("unit profile" in f.message for f in found)


def test_a_procedure_for_a_unit_needs_a_profile(shop: Shop) -> None:
    from rig.plan.proof import prove

    (fault,) = prove(shop.load("procedure"), None, shop.load("bench"))
    assert "no unit profile was given" in fault.message


def test_a_constant_cannot_be_a_fact(shop: Shop) -> None:
    changed = shop.change("  mains: {voltage: 230 V}", "  mains: {voltage: 230 V}\n  water: {density: 990 kg/m3}")
    changed.expect("profile", "990 kg/m3", "water.density", "constant")


@pytest.mark.parametrize(
    ("old", "new", "at", "words"),
    [
        ("raw: [0, 30000]", "raw: [30000, 30000]", "raw: ^[30000", ("30000",)),
        ("means: [0 g, 3 kg]", "means: [0 g, 3 L]", "3 L", ("mass", "3 L")),
        ("means: [0 g, 3 kg]", "means: [3 kg, 3000 g]", "[3 kg", ("3 kg",)),
        ("accuracy: 1 g", "accuracy: 1 V", "accuracy: ^1 V", ("mass", "1 V")),
        ("accuracy: 0.3 K", "accuracy: 0.3 Cel", "0.3 Cel", ("temperature difference",)),
        ("accuracy: 0.3 K", "accuracy: 0 K", "accuracy: ^0 K", ("above 0",)),
        ("shunt: 0.1 Ohm", "shunt: 0.1 V", "0.1 V", ("resistance",)),
        ("shunt: 0.1 Ohm, shunt-accuracy: 0.1 %", "shunt: 0.1 Ohm", "{meter: dmm, bus: volts, select: {instrument: relays, channel: 9}", ("shunt-accuracy",)),
        ("measures: [DC amps]", "measures: [DC amps, DC volts]", "[DC amps, ", ("shunt", "DC volts")),
        ("{function: DC volts, range: 100 V", "{function: DC volts, range: 100 A", "100 A", ("voltage", "100 A")),
        ("channel: 10}", "channel: 16}", "channel: ^16}", ("relays", "0 to 15", "16")),
        ("jug: {instrument: analog, channel: 1", "jug: {instrument: analog, channel: 0", "channel: ^0, measures: mass", ("room",)),
        ("feed: {instrument: relays, channel: 2", "feed: {instrument: relays, channel: 1", "channel: ^1, energizes: bench", ("heater",)),
        ("select: {instrument: relays, channel: 8}", "select: {instrument: relays, channel: 0}", "channel: ^0}, measures", ("mains",)),
        ("select: {instrument: relays, channel: 10}", "select: {instrument: relays, channel: 9}", "channel: ^9}, measures: [resistance", ("shunt",)),
        ("bus: volts, select: {instrument: relays, channel: 8}", "bus: mains, select: {instrument: relays, channel: 8}", "bus: ^mains", ("mains", "energizes")),
        ("station: demo\n", "", None, ("station",)),
        ("simulated: true", "simulated: false", "demo\nlinks", ("station", "simulated")),
        ("simulated: true\nstation: demo", "simulated: false\nspeed: 2.0", "2.0", ("speed",)),
        ("{protocol: visa, address: station}", "{protocol: visa, address: 'TCPIP::10.0.0.7::5025::SOCKET'}", "'TCPIP", ("simulated",)),
        ("{protocol: modbus-tcp, address: station}", "{protocol: modbus-tcp, address: '192.168.1.5:502'}", "'192", ("simulated",)),
    ],
)  # fmt: skip
def test_a_bench_that_does_not_fit(shop: Shop, old: str, new: str, at: str | None, words: tuple[str, ...]) -> None:
    changed = shop.change(old, new)
    bench = [f for f in changed.faults() if f.file.endswith("bench.yaml")]
    assert bench
    if at is not None:
        assert [(f.line, f.column) for f in bench][:1] == [changed.place("bench", at)]
    for word in words:
        assert word in bench[0].message


@pytest.mark.parametrize(
    "address", ["127.0.0.1:502", "localhost:502", "[::1]:502", "TCPIP::127.0.0.1::5025::SOCKET", "ASRL/dev/pts/3::INSTR", "/dev/pts/7"]
)  # fmt: skip
def test_a_simulated_bench_may_reach_this_computer(shop: Shop, address: str) -> None:
    protocol = "modbus-tcp" if address.endswith(":502") else "visa"
    changed = shop.change(
        f"{{protocol: {protocol}, address: station}}", f"{{protocol: {protocol}, address: '{address}'}}"
    )
    assert changed.faults() == []


def test_test_points_may_share_a_selector_on_one_bus(shop: Shop) -> None:
    old = "  coil-ends: {"
    new = (
        "  plug-again: {meter: dmm, bus: volts, select: {instrument: relays, channel: 8}, measures: [DC volts], on: valve, for: plug}\n"
        + old
    )
    assert shop.change(old, new).faults() == []


def test_periods_of_the_mains_are_counted_only_where_its_frequency_is_known(shop: Shop) -> None:
    limit = "limit: {at-least: 30 mA, source: invented}"
    ac = shop.change("judge: dip", "judge: inrush to holding").change(limit, "limit: {at-least: 6 %, source: invented}")
    ac.expect_among("procedure", "waveform: ^shunt", "inrush to holding", "AC", "DC amps")
    ac = ac.change("measures: [DC amps]", "measures: [DC amps, AC amps]")
    ac.expect_among("procedure", "judge: ^inrush", "mains.frequency", "50 Hz")
    known = ac.change("mains: {voltage: 230 V}", "mains: {voltage: 230 V, frequency: 50 Hz}")
    assert known.faults() == []
    short = known.change("for: 100 ms", "for: 50 ms")
    short.expect_among("procedure", "for: ^50 ms", "three periods", "50 Hz")


def test_a_channel_that_spans_nothing_is_told_and_nothing_is_worked_out_from_it(shop: Shop) -> None:
    """Neither faults nor warnings divide by the counts between its points."""
    changed = shop.change("raw: [0, 30000]", "raw: [30000, 30000]")
    looked = look_over([changed.path("procedure"), changed.path("bench"), changed.path("profile")])
    assert looked.faults and looked.warnings == ()
