"""An interlock that names what is not there would guard nothing: it is found before power."""

# ruff: noqa: E501 (tables: one case a line)

from __future__ import annotations

import pytest
from small_shop import Shop


@pytest.mark.parametrize(
    ("old", "new", "at", "words"),
    [
        # what is not there
        ("earth: {for: [mains]", "earth: {for: [main]", "[^main]", ("output", "main", "mains")),
        ("input: mains-aux}", "input: mains-axu}", "mains-axu", ("input", "mains-aux")),
        ("{is: on, input", "{is: closed, input", "closed, input", ("mains-aux", "off", "on", "closed")),
        ("{quantity: room, at-most", "{quantity: rom, at-most", "rom,", ("quantity", "room")),
        ("{quantity: room, rises", "{quantity: rom, rises", "rom,", ("quantity", "room")),
        ("{test-point: valve-plug", "{test-point: valve-plugg", "valve-plugg", ("test point", "valve-plug")),
        ("measures: [resistance four-wire], on: valve", "measures: [resistance four-wire], on: vlave", "vlave", ("circuit", "valve")),
        # what does not fit
        ("at-most: 140 Cel", "at-most: 140 kPa", "140 kPa", ("temperature", "140 kPa")),
        ("at-most: 140 Cel", "at-most: 240 Cel", "240 Cel", ("room", "200 Cel")),
        ("until: 95 Cel", "until: 95 K", "95 K", ("temperature", "95 K")),
        ("rises: 2 K", "rises: 2 Cel", "2 Cel", ("temperature difference",)),
        ("rises: 2 K", "rises: 0 K", "rises: ^0 K", ("above 0",)),
        ("valve-plug, measure: DC volts", "valve-plug, measure: AC volts", "measure: ^AC volts", ("valve-plug", "DC volts")),
        ("below: 1 V", "below: 1 mA", "1 mA", ("voltage",)),
        ("below: 1 V", "below: 20 V", "20 V", ("range 10 V",)),
        # what the models refuse
        ("must: {confirmed: earth}", "must: {confirm: earth}", "{confirm: ", ("confirmed", "nearest is 'confirmed'")),
        ("must: {confirmed: earth}", "must: {confirmed: earth, after: x}", "after: x", ("unknown key", "after")),
        ("must: {output: mains, is: off}", "must: {output: mains, is: of}", "of},", ("on", "off", "nearest")),
        ("at-most: 140 Cel, no-older-than: 2 s", "no-older-than: 2 s", "{quantity: room, no-older", ("at-least", "at-most")),
        ("at-most: 140 Cel, no-older-than: 2 s", "at-most: 140 Cel", "{quantity: room, at-most", ("no-older-than", "missing")),
        ("also: [wiring]", "also: [wire]", "also: [^wire]", ("wiring", "board", "program")),
        ("measure: DC volts, range: 10 V, below", "measure: [DC volts, AC volts], range: 10 V, below", "[DC volts, AC", ("valve-plug", "AC volts")),
        ("measure: DC volts, range: 10 V, below", "measure: [], range: 10 V, below", "[], range", ("at least 1",)),
        ("measure: DC volts, range: 10 V, below", "measure: 3, range: 10 V, below", "3, range", ("DC volts, AC volts",)),
        ("{never-live: nothing leads there}", "{}", "{}", ("test-point", "never-live")),
        ("{never-live: nothing leads there}", "{never-live: x, below: 1 V}", "{never-live: x", ("never-live",)),
        ("below: 1 V}", "below: 1 V, never-live: x}", "{test-point: valve-plug", ("never-live",)),
        ("channels: 16, serial: R1", "channels: 16, serial: R1, watchdog: nune", "nune", ("none", "nune")),
        ("channels: 16, serial: R1", "channels: 16, serial: R1, watchdog: 3", "watchdog: ^3", ("none", "register")),
        ("channels: 16, serial: R1", "channels: 16, serial: R1, watchdog: {register: x, unit: 1 ms, time: 2 s}", "x, unit", ("whole number",)),
        ("channels: 16, serial: R1", "channels: 16, serial: R1, watchdog: {registr: 3, unit: 1 ms, time: 2 s}", "registr", ("register", "time")),
    ],
)  # fmt: skip
def test_a_wrong_safety_part(shop: Shop, old: str, new: str, at: str, words: tuple[str, ...]) -> None:
    shop.change(old, new).expect("bench", at, *words)


@pytest.mark.parametrize(
    ("old", "new", "at", "words"),
    [
        ("must: {output: mains", "must: {output: mians", "mians", ("output", "mains")),
        ("must: {output: mains", "must: {output: feed", "output: ^feed, is", ("itself",)),
    ],
)
def test_a_wrong_exclusion_excludes_nothing(shop: Shop, old: str, new: str, at: str, words: tuple[str, ...]) -> None:
    shop.change(old, new).expect_among("bench", at, *words)
    assert any("feed may not be on together with mains" in f.message for f in shop.change(old, new).faults())


def test_a_confirmation_must_come_before_the_output(shop: Shop) -> None:
    missing = shop.change("must: {confirmed: earth}", "must: {confirmed: earth-bond}")
    missing.expect("procedure", "turn-on: [^mains]", "mains", "earth-bond", "earlier")
    later = shop.change("must: {confirmed: earth}", "must: {confirmed: rise}")
    later.expect("procedure", "turn-on: [^mains]", "mains", "rise", "earlier")
    # an output that this procedure never turns on asks for nothing
    unused = shop.change("earth: {for: [mains]", "earth: {for: [cut-off]").change("needs-on: [cut-off], ", "")
    assert unused.faults() == []


def test_what_lifts_an_interlock_is_there_and_is_read_with_it(shop: Shop) -> None:
    until = "until: 95 Cel, no-older-than: 2 s}"
    lifted = shop.change(until, until + ", unless: [{input: level-probe, is: wet}, {input: fill-drive, is: off}]")
    assert lifted.faults() == []
    lifted.change("{input: fill-drive, is: off}]", "{input: fill-drife, is: off}]").expect_among(
        "bench", "input: ^fill-drife", "fill-drife", "fill-drive"
    )
    lifted.change("{input: fill-drive, is: off}]", "{input: fill-drive, is: of}]").expect_among(
        "bench", "is: ^of}]", "off or on"
    )
