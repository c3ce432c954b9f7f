"""Every name leads somewhere, means one thing, and refers backwards."""

# ruff: noqa: E501 (tables: one case a line)

from __future__ import annotations

import pytest
from small_shop import Shop

from rig.plan.plan import make_plan


def test_the_small_shop_is_without_fault(shop: Shop) -> None:
    assert shop.faults() == []


@pytest.mark.parametrize(
    ("old", "new", "at", "words"),
    [
        ("switch: {turn-on: [mains]}", "switch: {turn-on: [manis]}", "manis", ("output", "manis", "mains")),
        ("switch: {turn-on: [heater]}", "switch: {turn-on: [heater], turn-off: [fed]}", "fed", ("fed", "feed")),
        ("energize: [feed]\n        judge", "energize: [fed]\n        judge", "fed", ("output", "feed")),
        ("start: {ask: Press start., verb: press, thing: start-button}", "start: {turn-on: [mainz]}", "mainz", ("mains",)),
        ("from: {input: fill-drive, is: on}", "from: {output: manes, is: on}", "manes", ("output", "mains")),
        ("{quantity: room, reaches: 40 Cel}", "{quantity: rooms, reaches: 40 Cel}", "rooms", ("quantity", "room")),
        ("at: coil-ends", "at: coil-end", "at: ^coil-end", ("test point", "coil-ends")),
        ("waveform: shunt", "waveform: shunts", "shunts", ("test point", "shunt")),
        ("record: [room]", "record: [room, jugs]", "jugs", ("quantity", "jug")),
        ("needs: [earth]", "needs: [erth]", "erth", ("earlier step", "earth")),
        ("needs: [earth]", "needs: [power]", "needs: [^power]", ("power", "earlier")),
        ("after: [fill-time]", "after: [dip]", "after: [^dip]", ("dip", "earlier")),
        ("in: Ohm\n", "in: Ohm\n        needs: [earth]\n", "needs: [^earth]\n        limit", ("earth", "earlier")),
        ("in: Ohm\n", "in: Ohm\n        when: {step: coil-at-20, was: [pass]}\n", "step: ^coil-at-20, ", ("earlier",)),
        ("settle: 5 s\n", "settle: 5 s\n            needs: [fill-time]\n", "needs: [^fill-time]\n            range", ("earlier",)),
        ("as-found: fill-time", "as-found: fil-time", "fil-time", ("time step", "fill-time")),
        ("as-found: fill-time", "as-found: earth", "as-found: ^earth", ("earth", "time step")),
        ("step: rate", "step: dip", "step: ^dip\n              record", ("dip", "taken")),
        ("stage: feed", "stage: cold", "stage: ^cold\n    title: The bench", ("cold", "taken", "line 6")),
    ],
)  # fmt: skip
def test_a_wrong_name_in_a_procedure(shop: Shop, old: str, new: str, at: str, words: tuple[str, ...]) -> None:
    shop.change(old, new).expect("procedure", at, *words)


@pytest.mark.parametrize(
    ("old", "new", "at", "words"),
    [
        ("input: level-probe", "input: level-prob", "^level-prob,", ("input", "level-probe")),
        ("is: wet", "is: damp", "damp", ("level-probe", "dry", "wet", "damp")),
        ("step: earth", "step: coil", "step: ^coil\n        ask", ("coil", "taken", "line 14")),
    ],
)
def test_a_wrong_name_that_more_depends_on(shop: Shop, old: str, new: str, at: str, words: tuple[str, ...]) -> None:
    shop.change(old, new).expect_among("procedure", at, *words)


def test_a_question_names_an_instrument_of_the_list_where_there_is_one(shop: Shop) -> None:
    asked = shop.change("answer: {number-in: Ohm}", "answer: {number-in: Ohm}\n        with: safty-tester")
    assert asked.faults() == [], "a bench without a list has nothing to hold it against"
    listed = "hand-instruments:\n  safety-tester: {serial: T1, for: a test}\noutputs:"
    asked.change("\noutputs:", f"\n{listed}").expect("procedure", "safty-tester", "hand instrument", "safety-tester")


def test_a_step_under_meanwhile_may_need_the_one_before_it(shop: Shop) -> None:
    changed = shop.change(
        "record: [room]\n            every: 1 s", "record: [room]\n            needs: [supply]\n            every: 1 s"
    )
    assert changed.faults() == []


def test_a_time_step_in_a_repeat_with_its_own_meanwhile_is_looked_into(shop: Shop) -> None:
    old = "            - step: rate\n"
    new = """\
            - step: valve-time
              time:
                from: {output: feed, is: on}
                until: {output: feed, is: off}
                start-within: 1 s
                give-up: 2 s
              every: 1 s
              no-limit: invented
              meanwhile:
                - step: deep
                  measure: DC volts
                  at: valve-plugg
                  no-limit: invented
            - step: rate
"""
    shop.change(old, new).expect("procedure", "valve-plugg", "valve-plug")


@pytest.mark.parametrize(
    ("old", "new", "at", "words"),
    [
        ("relays: {driver: modbus-relays, link: wire", "relays: {driver: modbus-relays, link: wired", "wired", ("link", "wire")),
        ("jug: {instrument: analog", "jug: {instrument: analogue", "analogue", ("instrument", "analog")),
        ("feedback: mains-aux", "feedback: mains-ax", "mains-ax,", ("input", "mains-aux")),
        ("valve-plug: {meter: dmm, bus: volts", "valve-plug: {meter: dm, bus: volts", "dm,", ("instrument", "dmm")),
        ("valve-plug: {meter: dmm, bus: volts", "valve-plug: {meter: dmm, bus: volt", "volt,", ("output", "volts")),
        ("needs-on: [cut-off]", "needs-on: [cutoff]", "cutoff", ("output", "cut-off")),
        ("all-off-order: [heater, mains, feed]", "all-off-order: [heater, mains, feed, main]", "main]", ("output", "mains")),
        ("all-off-order: [heater, mains, feed]", "all-off-order: [heater, mains, feed, heater]", "feed, ^heater]", ("twice",)),
        ("select: {instrument: relays, channel: 8}", "select: {instrument: relais, channel: 8}", "relais", ("relays",)),
        ("open: dry, closed: wet", "open: wet, closed: wet", "closed: ^wet", ("open", "closed", "wet")),
    ],
)  # fmt: skip
def test_a_wrong_name_in_a_bench(shop: Shop, old: str, new: str, at: str, words: tuple[str, ...]) -> None:
    found = shop.change(old, new)
    bench = [f for f in found.faults() if f.file.endswith("bench.yaml")]
    assert len(bench) == 1
    assert (bench[0].line, bench[0].column) == found.place("bench", at)
    for word in words:
        assert word in bench[0].message


def test_a_test_point_and_a_quantity_cannot_share_a_name(shop: Shop) -> None:
    changed = shop.change("  jug: {instrument: analog", "  valve-plug: {instrument: analog")
    messages = [f.message for f in changed.faults()]
    assert any("'valve-plug' is a quantity too" in m for m in messages)


def test_read_back_cannot_name_an_input(shop: Shop) -> None:
    changed = shop.change("  mains-aux: {", "  read-back: {").change("feedback: mains-aux", "feedback: read-back")
    changed = changed.change("input: mains-aux", "input: fill-drive")
    changed.expect("bench", "read-back: ^{instrument: contacts", "read-back", "cannot name an input")


def test_several_conditions_must_all_name_earlier_steps(shop: Shop) -> None:
    two = "when: [{step: earth, was: [pass]}, {step: coil, was: [fail, conditional fail]}]"
    ready = shop.change("- step: rise\n", f"- step: rise\n        {two}\n")
    assert ready.faults() == []
    late = shop.change("- step: rise\n", f"- step: rise\n        {two.replace('coil', 'dip')}\n")
    late.expect_among("procedure", "step: ^dip, was", "dip", "earlier")
    stage = shop.change("drive: bench feeds\n", f"drive: bench feeds\n    {two}\n")
    assert stage.faults() == []
    stage.change("{step: coil, was", "{step: again, was").expect_among("procedure", "step: ^again, was", "again")
    shop.change("drive: bench feeds\n", "drive: bench feeds\n    when: passed\n").expect_among(
        "procedure", "when: ^passed", "which must all hold"
    )


def test_a_question_may_name_facts_of_the_unit(shop: Shop) -> None:
    good = shop.change("What does the tester read?", "At (profile mains.voltage), what does the tester read?")
    assert good.faults() == []
    plan = make_plan(good.load("procedure"), good.load("profile"), good.load("bench"))
    asked = next(s for stage in plan.procedure.stages for s in stage.steps if s.step == "earth")
    assert asked.ask == "At (230 V), what does the tester read?"
    bad = good.change("mains.voltage)", "mains.volts)")
    bad.expect_among("procedure", "ask: ^At (profile", "mains.volts", "mains.voltage")
