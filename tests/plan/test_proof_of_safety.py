"""What a bench file must have before mains, heater or a feed can be on it, and where its links may lead."""

# ruff: noqa: E501 (tables: one case a line)

from __future__ import annotations

from pathlib import Path

import pytest
from small_shop import Shop

from rig.errors import Fault
from rig.plan.check import check
from rig.plan.load import bundled

STOP = "  stop: {for: [mains, heater, feed], must: {input: estop, is: healthy}, because: invented}\n"
MAINS = "mains: ^{instrument: relays, channel: 0"
HEATER = "heater: ^{instrument: relays, channel: 1"
FEED = "feed: ^{instrument: relays, channel: 2"
OHMS = "ohms: ^{instrument: relays, channel: 4"


@pytest.mark.parametrize(
    ("old", "new", "at", "words"),
    [
        (STOP, STOP.replace("mains, ", ""), MAINS, ("mains", "emergency stop", "estop")),
        (STOP, STOP.replace("heater, ", ""), HEATER, ("heater", "emergency stop")),
        (STOP, STOP.replace(", feed", ""), FEED, ("feed", "emergency stop")),
        ("  water: {for: [heater]", "  water: {for: [mains]", HEATER, ("heater", "water", "level-probe")),
        ("  cool: {for: [heater]", "  cool: {for: [mains]", HEATER, ("heater", "at-most")),
        ("  warms: {for: [heater]", "  warms: {for: [mains]", HEATER, ("heater", "rises")),
        ("  apart: {for: [feed]", "  apart: {for: [volts]", FEED, ("feed", "mains", "together")),
        ("  parted: {for: [mains]", "  parted: {for: [volts]", MAINS, ("mains", "feed", "together")),
        ("  dead: {for: [ohms]", "  dead: {for: [volts]", OHMS, ("ohms", "mains", "together")),
        ("  dead-heater: {for: [ohms]", "  dead-heater: {for: [volts]", OHMS, ("ohms", "heater", "together")),
        ("  dead-feed: {for: [ohms]", "  dead-feed: {for: [volts]", OHMS, ("ohms", "feed", "together")),
        ("  no-ohms: {for: [mains, heater, feed]", "  no-ohms: {for: [mains, heater]", FEED, ("feed", "ohms", "together")),
        ("all-off-order: [heater, mains, feed]", "all-off-order: [heater, mains]", "[heater, mains]", ("all-off-order", "feed")),
        ("device: 2, channels", "device: 1, channels", "device: ^1, channels: 16, serial: I1", ("relays", "device 1")),
        ("device: 2, channels: 16, serial: I1", "channels: 16, serial: I1", "contacts: ^{driver", ("device", "field bus")),
        ("driver: modbus-relays", "driver: modbus-relais", "modbus-relais", ("driver", "modbus-relays")),
        ("driver: scpi-multimeter", "driver: scpi-multimetre", "scpi-multimetre", ("driver", "scpi-multimeter")),
        ("station: demo", "station: demos", "demos", ("station", "demo")),
        ("{protocol: modbus-tcp, address: station}", "{protocol: modbus-tcp, address: '127.0.0.1:99999'}", "'127", ("port", "65535", "99999")),
        ("{protocol: visa, address: station}", "{protocol: visa, address: 'TCPIP::127.0.0.1::70000::SOCKET'}", "'TCPIP", ("port", "70000")),
    ],
)  # fmt: skip
def test_a_bench_that_would_be_dangerous(shop: Shop, old: str, new: str, at: str, words: tuple[str, ...]) -> None:
    shop.change(old, new).expect("bench", at, *words)


def test_a_stop_that_must_be_pressed_stops_nothing(shop: Shop) -> None:
    shop.change(STOP, STOP.replace("healthy", "pressed")).expect_among("bench", MAINS, "emergency stop", "closed")


def test_what_is_on_only_with_the_mains_is_held_off_with_it(shop: Shop) -> None:
    """The heater hangs behind the mains: whatever holds the mains off the ohms bus holds the heater off it."""
    behind = shop.change(
        "  cool: {for", "  behind: {for: [heater], must: {is: on, output: mains}, because: x}\n  cool: {for"
    )
    assert behind.change("  dead-heater: {for: [ohms]", "  dead-heater: {for: [volts]").faults() == []


def test_two_links_that_lead_to_one_place_are_one_too_many(shop: Shop) -> None:
    first = shop.change("{protocol: modbus-tcp, address: station}", "{protocol: modbus-tcp, address: '127.0.0.1:502'}")
    second = first.change("  scpi:", "  again: {protocol: modbus-tcp, address: '127.0.0.1:0502'}\n  scpi:")
    second.expect("bench", "'127.0.0.1:0502'", "wire", "same place")


@pytest.mark.parametrize(
    "link",
    [
        "{protocol: modbus-tcp, address: '10.0.0.5:502'}",
        "{protocol: modbus-tcp, address: '127.0.0.1@10.0.0.5:502'}",
        "{protocol: modbus-tcp, address: '127.0.0.1.example:502'}",
        "{protocol: modbus-tcp, address: '[::ffff:10.0.0.5]:502'}",
        "{protocol: modbus-rtu, address: /dev/ttyUSB0}",
        "{protocol: modbus-rtu, address: /dev/pts/../ttyUSB0}",
        "{protocol: visa, address: 'USB0::1::2::3::INSTR'}",
        "{protocol: visa, address: 'ASRL/dev/ttyUSB0::INSTR'}",
        "{protocol: visa, address: 'TCPIP::127.0.0.1.example::inst0::INSTR'}",
        "{protocol: visa, address: '127.0.0.1:GPIB0::7::INSTR'}",
        "{protocol: person, address: '10.0.0.5:502'}",
    ],
)
def test_no_way_out_of_a_simulated_bench(shop: Shop, link: str) -> None:
    """However a real instrument's address is dressed up."""
    changed = shop.change("  scpi:", f"  out: {link}\n  scpi:")
    assert any("this computer alone" in f.message for f in changed.faults()), changed.faults()


def test_a_relay_board_cannot_hide_behind_a_person(shop: Shop) -> None:
    changed = shop.change("{protocol: modbus-tcp, address: station}", "{protocol: person, address: station}")
    assert any("is no instrument" in f.message for f in changed.faults())


def test_a_real_bench_has_no_simulated_person(shop: Shop) -> None:
    real = shop.change("simulated: true\nstation: demo", "simulated: false")
    real = real.change("  scpi:", "  person: {protocol: person, address: '127.0.0.1:9'}\n  scpi:")
    assert any("for simulated benches" in f.message for f in real.faults())


def test_an_output_without_any_interlock_is_said_by_the_check_alone(tmp_path: Path) -> None:
    path = tmp_path / "bare.yaml"
    path.write_text(
        """\
bench: bare
title: Nothing but relays
simulated: false
links:
  wire: {protocol: modbus-tcp, address: "192.0.2.7:502"}
instruments:
  relays: {driver: modbus-relays, link: wire, device: 1, channels: 8, serial: R1}
outputs:
  mains: {instrument: relays, channel: 0, energizes: mains, feedback: read-back, longest-on: 20 min, for: mains}
  heater: {instrument: relays, channel: 1, energizes: heater, feedback: read-back, longest-on: 10 min, for: heater}
  feed: {instrument: relays, channel: 2, energizes: bench feed, feedback: read-back, longest-on: 15 s, for: feed}
""",
        encoding="utf-8",
    )
    faults: list[Fault] = check([path])
    said = {
        (f.line, word)
        for f in faults
        for word in ("emergency stop", "water", "together", "all-off-order")
        if word in f.message
    }
    assert said >= {
        (9, "emergency stop"),
        (10, "emergency stop"),
        (11, "emergency stop"),
        (10, "water"),
        (9, "together"),
        (11, "together"),
        (1, "all-off-order"),
    }


@pytest.mark.parametrize("name", bundled("bench"))
def test_the_bundled_benches_have_it_all(name: str) -> None:
    assert check([bundled("bench")[name]]) == []
