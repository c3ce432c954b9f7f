"""Every rule of the check before power has a file that breaks it, and one that nearly does; and the guide has the table."""

# ruff: noqa: E501 (a table: one change a line)

from __future__ import annotations

from pathlib import Path

import pytest
from small_shop import Shop, small_shop

from rig.errors import Fault, InputError
from rig.plan.load import Loaded
from rig.plan.paths import follow
from rig.plan.rule_table import Row, as_text, rules
from rig.plan.view import BenchView, make_view
from rig.plan.wiring import Bench

GUIDE = Path(__file__).parents[2] / "DEVELOPERS.md"
TABLE = rules()

Changes = list[tuple[str, str]]
AIR = (
    "outputs:\n",
    "outputs:\n  air: {instrument: relays, channel: 6, energizes: air, feedback: read-back, longest-on: 1 h, for: air}\n",
)
ORDER = ("all-off-order: [heater, mains, feed]", "all-off-order: [heater, mains, feed, air]")
COIL = "      - step: coil\n"
HEAT = "      - step: heat-on\n"
ROOM = "{at-least: 10 Cel, at-most: 35 Cel, source: invented}"
HAND = (
    "  wire: {protocol: modbus-tcp, address: station}\n",
    "  wire: {protocol: modbus-tcp, address: station}\n  bench-hand: {protocol: hand, address: the bench}\n",
)
PERSON = ("instruments:\n", "instruments:\n  hand: {driver: person, link: bench-hand, serial: P1}\n")
TESTER = ("quantities:\n", "hand-instruments:\n  tester: {serial: T1, for: earth bond}\nquantities:\n")
COUPLE = "quantities:\n  pipe: {instrument: analog, channel: 2, measures: temperature, raw: [0, 30000], means: [-2 mV, 10 mV], accuracy: 5 uV, sensor: {kind: type-k, cold-junction: %s, tolerance: 1 K}, for: pipe}\n"

# By rule: what breaks it, and what nearly does.
CASES: dict[str, tuple[Changes, Changes]] = {
    "questions-know-the-unit": ([("What does the tester read?", "With profile mains.volts?")], [("What does the tester read?", "With profile mains.voltage?")]),
    "names-are-unique": ([("step: warming", "step: supply")], [("step: warming", "step: supply-2")]),
    "references-are-earlier": ([("    needs: [earth]", "    needs: [to-90]")], [("    needs: [earth]", "    needs: [earth, coil-at-20]")]),
    "as-found-exists": ([("as-found: fill-time", "as-found: earth")], [("as-found: fill-time\n", "")]),
    "outputs-exist": ([("turn-on: [heater]", "turn-on: [heaters]")], [("turn-on: [mains]", "turn-on: [mains], turn-off: [cut-off]")]),
    "edges-exist": ([("is: wet}\n          start-within: 60 s", "is: full}\n          start-within: 60 s")], [("until: {input: level-probe, is: wet}\n          start-within: 60 s", "until: {input: \"level-probe\", is: \"wet\"}\n          start-within: 60 s")]),
    "places-exist": ([("record: [jug]", "record: [jar]"), ("slope of jug", "slope of jar")], [("record: [jug]", "record: [jug, room]")]),
    "hand-instruments-exist": ([TESTER, ("thing: earth\n", "thing: earth\n        with: testers\n")], [TESTER, ("thing: earth\n", "thing: earth\n        with: tester\n")]),
    "functions-fit": ([("measure: temperature\n        at: room", "measure: pressure\n        at: room")], [("measures: [DC volts]", "measures: [DC volts, AC volts]")]),
    "periods-are-known": ([("judge: dip\n        limit: {at-least: 30 mA,", "judge: inrush to holding\n        limit: {at-least: 5 %,"), ("measures: [DC amps]", "measures: [AC amps]")],
                          [("judge: dip\n        limit: {at-least: 30 mA,", "judge: inrush to holding\n        limit: {at-least: 5 %,"), ("measures: [DC amps]", "measures: [AC amps]"), ("mains: {voltage: 230 V}", "mains: {voltage: 230 V, frequency: 50 Hz}")]),
    "ranges-fit": ([("range: 100 Ohm", "range: 100 V")], [("range: 100 Ohm", "range: 0.1 kOhm")]),
    "accuracy-is-stated": ([("range: 100 Ohm", "range: 1001 Ohm")], [("range: 100 Ohm", "range: 1000 Ohm")]),
    "slopes-have-a-unit": ([("judge: highest of room", "judge: leak of room")], [("judge: highest of room", "judge: slope of room")]),
    "uncertainties-fit": ([("standard-uncertainty: 5 mOhm", "standard-uncertainty: 5 mV")], [("standard-uncertainty: 5 mOhm", "standard-uncertainty: 0.001 mOhm")]),
    "limits-fit": ([(ROOM, "{at-least: 10 Cel, at-most: 201 Cel, source: invented}")], [(ROOM, "{at-least: 10 Cel, at-most: 200 Cel, source: invented}")]),
    "edges-fit": ([("reaches: 90 Cel", "reaches: 201 Cel")], [("reaches: 90 Cel", "reaches: 200 Cel")]),
    "times-fit": ([("every: 100 ms", "every: 19 ms")], [("every: 100 ms", "every: 20 ms")]),
    "formulas-fit": ([("compute: 50 K / to-90", "compute: 50 K / to-90 ** 2")], [("compute: 50 K / to-90", "compute: 50 K * to-90 / to-90 ** 2")]),
    "ohms-only-dead": ([("drive: dead", "drive: bench feeds")], [("drive: dead\n", "drive: dead\n    cautions: [None]\n")]),
    "drives-are-kept": ([("turn-on: [mains]", "turn-on: [mains, feed]")], [("turn-on: [mains]", "turn-on: [mains, cut-off]")]),
    "as-found-comes-first": ([("thing: earth\n", "thing: earth-cleaned\n")], [("thing: earth\n", "thing: earth-cleaned-at-owner\n")]),
    "outputs-are-bounded": ([("longest-on: 20 min", "longest-on: 599 s")], [("longest-on: 20 min", "longest-on: 600 s")]),
    "confirmed-steps-precede": ([("must: {confirmed: earth}", "must: {confirmed: dip}")], [("must: {confirmed: earth}", "must: {confirmed: earth}, also: [wiring]")]),
    "for-units-fit": ([(HEAT, HEAT + "        for-units: {fill.valves: [DC coil]}\n")], [(HEAT, HEAT + "        for-units: {fill.valve: [DC coil]}\n")]),
    "poor-ratios": ([('revision: "1"\nas-found', 'revision: "1"\ndecision-rule: {least-ratio: 36, below-it: refuse}\nas-found'), ("limit: {profile: coil}\n      - step: coil-at-20", "no-limit: x\n      - step: coil-at-20")],
                    [('revision: "1"\nas-found', 'revision: "1"\ndecision-rule: {least-ratio: 1, below-it: refuse}\nas-found')]),
    "some-reading-passes": ([(ROOM, "{nominal: 20 Cel, within: 0.34 K, source: i}")], [(ROOM, "{nominal: 20 Cel, within: 0.35 K, source: i}")]),
    "nothing-live-at-ohms": ([AIR, ORDER, (COIL, "      - step: blow\n        switch: {turn-on: [air]}\n" + COIL)],
                             [AIR, ORDER, (COIL, "      - step: blow\n        switch: {turn-on: [air]}\n      - step: no-more\n        switch: {turn-off: [air]}\n" + COIL)]),
    "exclusions-are-kept": ([("  earth: {for: [mains]", "  lone: {for: [mains], must: {output: cut-off, is: off}, because: invented}\n  earth: {for: [mains]"), ("turn-on: [mains]", "turn-on: [cut-off, mains]")],
                            [("  earth: {for: [mains]", "  lone: {for: [mains], must: {output: cut-off, is: off}, because: invented}\n  earth: {for: [mains]"), ("turn-on: [mains]", "turn-off: [cut-off], turn-on: [mains]")]),
    "interlocks-can-hold": ([("fed: {for: [heater], must: {is: on, input: mains-aux}", "fed: {for: [heater], must: {is: on, output: cut-off}")], [("fed: {for: [heater], must: {is: on, input: mains-aux}", "fed: {for: [heater], must: {is: on, output: cut-off}"), ("turn-on: [mains]", "turn-on: [mains, cut-off]")]),
    "water-before-heat": ([(HEAT, "      - step: drained\n        ask: Drain it.\n        verb: confirm\n        thing: chamber-drained\n        answer: done\n" + HEAT)],
                          [(HEAT, "      - step: drained\n        ask: Is the drain shut?\n        verb: confirm\n        thing: cock-shut\n        answer: done\n" + HEAT)]),
    "making-safe-ends-off": ([AIR, ORDER, ("  - stage: fill\n", "    make-safe:\n      - step: blow\n        switch: {turn-on: [air]}\n  - stage: fill\n")],
                             [AIR, ORDER, ("  - stage: fill\n", "    make-safe:\n      - step: blow\n        switch: {turn-on: [air]}\n      - step: blown\n        switch: {turn-off: [air]}\n  - stage: fill\n")]),
    "everything-can-run": ([(HEAT, HEAT + "        needs: [warming]\n")], [(HEAT, HEAT + "        after: [earth]\n        when: {step: warming, was: [not evaluated, not run]}\n")]),
    "names-exist": ([("all-off-order: [heater,", "all-off-order: [heaters, heater,")], [("feedback: read-back, longest-on: 10 min", "feedback: \"read-back\", longest-on: 10 min")]),
    "names-mean-one-thing": ([("all-off-order: [heater, mains, feed]", "all-off-order: [heater, mains, heater, feed]")], [("all-off-order: [heater, mains, feed]", "all-off-order: [mains, heater, feed]")]),
    "channels-exist": ([("relays, channel: 10}", "relays, channel: 16}")], [("relays, channel: 10}", "relays, channel: 15}")]),
    "channels-are-used-once": ([("relays, channel: 10}", "relays, channel: 5}")], [("relays, channel: 9}", "relays, channel: 8}")]),
    "buses-carry-nothing": ([("bus: volts, select: {instrument: relays, channel: 9}", "bus: feed, select: {instrument: relays, channel: 9}")], [("bus: volts, select: {instrument: relays, channel: 9}", "bus: volts, select: {instrument: relays, channel: 11}")]),
    "scales-fit": ([("accuracy: 0.3 K", "accuracy: 0.3 Pa")], [("accuracy: 0.3 K", "accuracy: 0.001 K")]),
    "sensors-fit": ([("quantities:\n", COUPLE % "jug")], [("quantities:\n", COUPLE % "room")]),
    "shunts-fit": ([("shunt: 0.1 Ohm, shunt-accuracy: 0.1 %,", "shunt: 0.1 Ohm,")], [("shunt: 0.1 Ohm, shunt-accuracy: 0.1 %,", "shunt: 100 mOhm, shunt-accuracy: 0.1 %,")]),
    "accuracies-fit": ([("{function: DC volts, range: 100 V,", "{function: DC volts, range: 100 A,")], [("{function: DC volts, range: 100 V,", "{function: DC volts, range: 0.1 kV,")]),
    "hands-fit": ([HAND, PERSON, ("cut-off: {instrument: relays, channel: 5, energizes: nothing", "cut-off: {instrument: hand, channel: 5, energizes: air")],
                  [HAND, PERSON, ("cut-off: {instrument: relays, channel: 5, energizes: nothing", "cut-off: {instrument: hand, channel: 5, energizes: nothing")]),
    "names-are-installed": ([("driver: modbus-inputs", "driver: modbus-input")], [("driver: modbus-inputs", "driver: \"modbus-inputs\"")]),
    "addresses-can-be": ([("{protocol: modbus-tcp, address: station}", "{protocol: modbus-tcp, address: \"127.0.0.1:65536\"}")], [("{protocol: modbus-tcp, address: station}", "{protocol: modbus-tcp, address: \"127.0.0.1:65535\"}")]),
    "one-instrument-at-each": ([("device: 2", "device: 1")], [("device: 2", "device: 4")]),
    "links-fit": ([("{protocol: modbus-tcp, address: station}", "{protocol: modbus-tcp, address: \"192.0.2.7:502\"}")], [("{protocol: modbus-tcp, address: station}", "{protocol: modbus-tcp, address: \"localhost:502\"}")]),
    "everything-falls-in-order": ([("all-off-order: [heater, mains, feed]", "all-off-order: [heater, feed, mains]")], [("all-off-order: [heater, mains, feed]", "all-off-order: [mains, heater, feed]")]),
    "emergency-stop-is-seen": ([("stop: {for: [mains, heater, feed]", "stop: {for: [mains, heater]")], [("stop: {for: [mains, heater, feed]", "stop: {for: [feed, heater, mains]")]),
    "heater-has-water-and-is-watched": ([("is: \"wet\"}", "is: \"dry\"}")], [("at-most: 140 Cel", "at-most: 200 Cel")]),
    "feeds-and-mains-exclude-each-other": ([("parted: {for: [mains]", "parted: {for: [cut-off]")], [("parted: {for: [mains]", "parted: {for: [mains, heater]")]),
    "ohms-bus-is-excluded": ([("dead-feed: {for: [ohms]", "dead-feed: {for: [cut-off]")], [("dead-feed: {for: [ohms]", "dead-feed: {for: [ohms, cut-off]")]),
    "interlocks-are-whole": ([("at-most: 140 Cel", "at-most: 201 Cel")], [("at-most: 140 Cel", "at-most: 199 Cel")]),
    "circuits-are-whole": ([("range: 10 V, below: 1 V", "range: 10 V, below: 11 V")], [("range: 10 V, below: 1 V", "range: 10 V, below: 10 V")]),
    "ratios-to-warn-of": ([(ROOM, "{nominal: 20 Cel, within: 0.6 K, source: i}")], [(ROOM, "{nominal: 20 Cel, within: 0.75 K, source: i}")]),
    "confirmed-on-every-path": ([("    needs: [earth]\n", "    after: [earth]\n")], [("    needs: [earth]\n", "    when: {step: earth, was: [pass]}\n")]),
}  # fmt: skip


def changed(shop: Shop, changes: Changes) -> Shop:
    for old, new in changes:
        shop = shop.change(old, new)
    return shop


def found_by(row: Row, shop: Shop) -> list[Fault]:
    """What one rule says of the shop's files."""
    try:
        files: dict[str, Loaded] = {name: shop.load(name) for name in shop.texts}
    except InputError as error:
        raise AssertionError(f"the files cannot be read: {error.lines()}") from error
    view = make_view(files["procedure"], files["profile"], files["bench"])
    if row.about == "bench":
        assert isinstance(files["bench"].model, Bench)
        return list(row.rule(BenchView(files["bench"], files["bench"].model)))
    return list(row.rule(follow(view) if "paths" in row.about else view))


def test_the_table_is_whole() -> None:
    assert [row.name for row in TABLE] == list(CASES)
    assert all(row.proves.endswith(".") for row in TABLE)


def test_the_guide_has_the_table() -> None:
    assert as_text() in GUIDE.read_text(encoding="utf-8")


@pytest.mark.parametrize("row", TABLE, ids=lambda row: row.name)
def test_a_file_that_breaks_it_and_one_that_nearly_does(row: Row, tmp_path: Path) -> None:
    broken, nearly = CASES[row.name]
    shop = small_shop(tmp_path)
    found = found_by(row, changed(shop, broken))
    assert found, "nothing was found"
    assert all(f.line > 0 and f.column > 0 for f in found)
    almost = changed(shop, nearly)
    assert found_by(row, almost) == []
    assert almost.faults() == []
