"""Benches with a person among their instruments: leads put on by hand, cautions, no interlock that waits."""

from __future__ import annotations

import pytest
from small_shop import Shop


@pytest.fixture
def hand_meter(shop: Shop) -> Shop:
    """The multimeter is a person's: its test points are without relays, and its buses and accuracy are gone."""
    changed = shop.change("scpi: {protocol: visa, address: station}", "scpi: {protocol: hand, address: the table}")
    for bus, channel in (("volts", 8), ("volts", 9), ("ohms", 10)):
        changed = changed.change(f", bus: {bus}, select: {{instrument: relays, channel: {channel}}}", "")
    return changed


def test_leads_put_on_by_hand_need_no_relays(hand_meter: Shop) -> None:
    assert hand_meter.faults() == []


def test_a_hand_meter_with_a_bus_and_a_meter_without_one(shop: Shop, hand_meter: Shop) -> None:
    by_hand = shop.change("scpi: {protocol: visa, address: station}", "scpi: {protocol: hand, address: the table}")
    by_hand.expect_among("bench", "valve-plug: {meter: ^dmm", "dmm", "no bus")
    no_bus = hand_meter.change("{protocol: hand, address: the table}", "{protocol: visa, address: station}")
    no_bus.expect_among("bench", "valve-plug: {meter: ^dmm", "no hand meter", "bus")


def test_bus_and_select_go_together(shop: Shop) -> None:
    half = shop.change(", select: {instrument: relays, channel: 8}", "")
    half.expect("bench", "^{meter: dmm, bus: volts, measures: [DC volts]", "bus and select go together")


def test_a_switch_of_a_person_has_a_caution_where_it_energizes(shop: Shop) -> None:
    table = shop.change("  scpi:", "  table: {protocol: hand, address: the table}\n  scpi:")
    panel = table.change("  contacts:", "  panel: {driver: hand-meter, link: table, serial: P1}\n  contacts:")
    mains = "{instrument: relays, channel: 0, energizes: mains"
    panel = panel.change("interlocks:", "wiring-only:\n  stop-chain: {because: invented}\ninterlocks:")
    bare = panel.change(mains, mains.replace("relays", "panel"))
    bare.expect("bench", f"mains: ^{mains.replace('relays', 'panel')}", "caution", "mains")
    assert bare.change("energizes: mains,", "energizes: mains, caution: Mains.,").faults() == []


@pytest.mark.parametrize(
    ("spec", "key"), [("fed: {for: [heater], must: {is: on, input: ", "mains-aux"), ("{quantity: ", "room, at-most")]
)
def test_no_interlock_waits_for_a_person(shop: Shop, spec: str, key: str) -> None:
    table = shop.change("  scpi:", "  table: {protocol: hand, address: the table}\n  scpi:")
    panel = table.change("  contacts:", "  panel: {driver: hand-meter, link: table, serial: P1}\n  contacts:")
    old = {"mains-aux": "mains-aux: {instrument: contacts", "room, at-most": "room: {instrument: analog"}[key]
    by_hand = panel.change(old, f"{old.split('{')[0]}{{instrument: panel")
    by_hand.expect_among("bench", f"{spec}^{key}", "a person reads this", "wiring")
