"""What may be on when, water before heat, as found first, and an end to everything that is on."""

# ruff: noqa: E501 (tables: one case a line)

from __future__ import annotations

import pytest
from small_shop import Shop

POWER = "switch: {turn-on: [mains]}"


@pytest.mark.parametrize("function", ["resistance", "resistance four-wire", "diode", "continuity"])
@pytest.mark.parametrize("drive", ["board drives", "bench feeds"])
def test_ohms_are_for_dead_stages(shop: Shop, function: str, drive: str) -> None:
    changed = (
        shop.change("    drive: dead\n", f"    drive: {drive}\n")
        .change("measure: resistance four-wire", f"measure: {function}")
        .change("        range: 100 Ohm\n        over-range: open circuit\n        limit: {profile: coil}", "        no-limit: x")
        .change("compute: copper-at-20(coil, ambient)", "compute: 1 Ohm")
        .change("measures: [resistance four-wire]", f"measures: [{function}]")
        .change("function: resistance four-wire, range: 1 kOhm", f"function: {function}, range: {'1 V' if function == 'diode' else '1 kOhm'}")
    )  # fmt: skip
    changed.expect("procedure", f"measure: ^{function}", "dead", drive)


@pytest.mark.parametrize(
    ("drive", "output"),
    [
        ("dead", "mains"), ("dead", "heater"), ("dead", "feed"),
        ("board drives", "feed"), ("bench feeds", "mains"), ("bench feeds", "heater"),
    ],
)  # fmt: skip
def test_a_stage_allows_only_its_own_way_of_driving(shop: Shop, drive: str, output: str) -> None:
    stage = f"""\
  - stage: extra
    title: Extra
    drive: {drive}
    steps:
      - step: extra-on
        switch: {{turn-on: [{output}]}}
"""
    changed = Shop(shop.folder, {**shop.texts, "procedure": shop.texts["procedure"] + stage})
    found = [f for f in changed.faults() if "does not allow" in f.message]
    assert len(found) == 1
    assert drive in found[0].message
    assert output in found[0].message


def test_energize_and_a_starting_switch_are_turning_on(shop: Shop) -> None:
    changed = shop.change("        at: room\n", "        at: room\n        energize: [feed]\n")
    changed.expect("procedure", "energize: [^feed]\n        limit: {at-least: 10", "feed", "dead")
    start = shop.change("start: {ask: Press start., verb: press, thing: start-button}", "start: {turn-on: [feed]}")
    places = {(f.line, f.column): f.message for f in start.faults()}
    assert "board drives" in places[start.place("procedure", "{turn-on: [^feed]}")]


def test_what_a_test_point_needs_counts_as_turned_on(shop: Shop) -> None:
    changed = shop.change("needs-on: [cut-off]", "needs-on: [feed]")
    changed.expect("procedure", "coil-ends", "feed", "bench feed", "dead")


WATER = "until: {input: level-probe, is: wet}"
BAD = "        after-bad: leave out stage\n"


@pytest.mark.parametrize(
    ("old", "new"),
    [
        (BAD, ""),  # a fill that gave up would go on to the heater
        (BAD, "        after-bad: carry on\n"),
        (WATER, "until: {input: level-probe, is: dry}"),
        (WATER, "until: {input: fill-drive, is: off}"),
        (BAD, BAD + "        when: {step: earth, was: [pass]}\n"),  # left out, it would prove nothing
        (BAD, BAD + "        needs: [coil]\n"),
        (BAD, BAD + "        after: [coil-at-20]\n"),
        ("limit: {profile: fill-time}", "limit: {at-least: 60 s, source: invented}"),  # giving up would pass
    ],
)
def test_no_heater_without_water_proved(shop: Shop, old: str, new: str) -> None:
    shop.change(old, new).expect("procedure", "turn-on: [^heater]", "heater", "water", "level-probe", "level-relay")


@pytest.mark.parametrize(
    ("old", "new"),
    [
        (BAD, "        after-bad: end\n"),
        (BAD, "@"),  # with needs at the heater's own step, see below
        (BAD, BAD + "        needs: [earth]\n"),  # which the stage needs as well: always done
        ("limit: {profile: fill-time}", "no-limit: giving up is bad all the same"),
    ],
)
def test_water_proved_in_other_words(shop: Shop, old: str, new: str) -> None:
    changed = (
        shop.change(BAD, "").change("      - step: heat-on\n", "      - step: heat-on\n        needs: [fill-time]\n")
        if new == "@"
        else shop.change(old, new)
    )
    assert changed.faults() == []


def test_water_proved_in_another_stage_is_not_enough(shop: Shop) -> None:
    moved = shop.change(
        "      - step: heat-on\n",
        """\
  - stage: heat
    title: Heat
    drive: board drives
    needs: [fill-time]
    steps:
      - step: power-again
        switch: {turn-on: [mains]}
      - step: heat-on
""",
    )
    moved.expect("procedure", "turn-on: [^heater]", "heater", "this stage")


def test_the_heater_may_not_come_first(shop: Shop) -> None:
    shop.change(POWER, "switch: {turn-on: [mains, heater]}").expect("procedure", "mains, ^heater", "water")


def test_water_is_not_proved_while_it_is_still_waited_for(shop: Shop) -> None:
    changed = shop.change("            settle: 5 s\n", "            settle: 5 s\n            energize: [heater]\n")
    changed.expect("procedure", "energize: [^heater]", "heater", "water")
    started = shop.change(
        "start: {ask: Press start., verb: press, thing: start-button}", "start: {turn-on: [heater]}"
    ).change("longest-on: 10 min", "longest-on: 20 min")
    started.expect("procedure", "start: {turn-on: [^heater]}", "heater", "water")


ASK = """\
      - step: extra
        ask: Extra?
        verb: {verb}
        thing: {thing}
        answer: done
      - step: earth
"""


@pytest.mark.parametrize(
    ("verb", "thing", "at"),
    [
        ("pour", "water", "verb: ^pour"),
        ("confirm", "clean-probe", "thing: ^clean-probe"),
        ("confirm", "probe-cleaned", "thing: ^probe-cleaned"),
        ("look", "levelling-feet", "thing: ^levelling-feet"),
        ("confirm", "cooled-down", "thing: ^cooled-down"),
    ],
)
def test_nothing_is_changed_before_it_is_on_record(shop: Shop, verb: str, thing: str, at: str) -> None:
    changed = shop.change("      - step: earth\n", ASK.format(verb=verb, thing=thing))
    changed.expect("procedure", at, "fill-time", "on record")


@pytest.mark.parametrize("thing", ["level-at-owner", "water-level-as-found", "gasket", "unlevel", "recooler"])
def test_questions_about_how_it_came_are_free(shop: Shop, thing: str) -> None:
    changed = shop.change("      - step: earth\n", ASK.format(verb="confirm", thing=thing))
    assert changed.faults() == []


def test_after_the_record_all_is_free(shop: Shop) -> None:
    changed = shop.change("      - step: dip\n", ASK.format(verb="pour", thing="clean-water").replace("earth", "dip"))
    assert changed.faults() == []
    free = shop.change("      - step: earth\n", ASK.format(verb="pour", thing="water")).change(
        "as-found: fill-time\n", ""
    )
    assert free.faults() == []


def test_the_prompt_that_starts_the_first_timing_is_looked_at_too(shop: Shop) -> None:
    changed = shop.change("verb: press, thing: start-button", "verb: pour, thing: water")
    changed.expect("procedure", "verb: ^pour", "poured", "fill-time")


def test_an_output_may_be_on_as_long_as_its_waits_at_most(shop: Shop) -> None:
    # 60 s to start, 180 s to give up; then 60 s and 300 s: ten minutes of mains, of which six of heater
    assert shop.change("longest-on: 20 min", "longest-on: 10 min").faults() == []
    shop.change("longest-on: 20 min", "longest-on: 599 s").expect(
        "procedure", "^step: to-90", "mains", "10 min", "599 s"
    )
    assert shop.change("longest-on: 10 min", "longest-on: 6 min").faults() == []
    shop.change("longest-on: 10 min", "longest-on: 359 s").expect(
        "procedure", "^step: to-90", "heater", "6 min", "359 s"
    )


def test_an_output_energized_for_one_step_counts_from_anew(shop: Shop) -> None:
    # three times ten seconds, each on its own
    assert shop.change("for: 10 s", "for: 15 s").faults() == []
    shop.change("for: 10 s", "for: 16 s").expect("procedure", "^step: rate", "feed", "15 s")


def test_a_switch_before_a_repeat_counts_through_all_of_it(shop: Shop) -> None:
    changed = shop.change(
        "    steps:\n      - step: dip\n",
        "    make-ready:\n      - step: feed-on\n        switch: {turn-on: [feed]}\n    steps:\n      - step: dip\n",
    )
    changed.expect("procedure", "^step: rate", "feed", "15 s")


def test_turning_off_ends_the_count(shop: Shop) -> None:
    steps = """\
      - step: on-once
        switch: {turn-on: [feed]}
      - step: wait-once
        settle: 14 s
      - step: off-once
        switch: {turn-off: [feed]}
      - step: dip
"""
    assert shop.change("      - step: dip\n", steps).faults() == []
    long = shop.change("      - step: dip\n", steps.replace("14 s", "20 s"))
    long.expect("procedure", "^step: wait-once", "feed", "15 s")


def test_steps_under_meanwhile_can_outlast_the_timing(shop: Shop) -> None:
    changed = shop.change("settle: 5 s", "settle: 21 min")
    changed.expect_among("procedure", "^step: fill-time\n        time", "mains", "21 min")


OFF = """
      - step: heat-off
        switch: {turn-off: [heater]}
      - step: cools
        settle: 8 min
"""


@pytest.mark.parametrize(
    ("condition", "good"),
    [
        ("", True),
        ("        needs: [to-90]\n", False),
        ("        when: {step: fill-time, was: [pass]}\n", False),
        ("        after: [rise]\n", False),
    ],
)
def test_a_step_that_may_be_left_out_turns_nothing_off(shop: Shop, condition: str, good: bool) -> None:
    """Turned off only when an earlier step went well: on the other path the heater stays on to the stage's end."""
    step = OFF.replace("        switch", condition + "        switch")
    changed = shop.change("\n      - step: rise", f"{step}      - step: rise".replace("\n\n", "\n"))
    if condition.strip() == "after: [rise]":
        changed = shop.change("\n  - stage: feed", step.rstrip() + "\n  - stage: feed")
    if good:
        assert changed.faults() == []
    else:
        changed.expect_among("procedure", "^- step: cools".replace("^- ", "- ^"), "heater", "left out")


def test_what_goes_on_and_off_on_one_condition_is_bounded(shop: Shop) -> None:
    """The step that turns off is done whenever the one that turned on was."""
    when = "        when: {step: fill-time, was: [pass]}\n"
    changed = shop.change("      - step: heat-on\n", f"      - step: heat-on\n{when}        needs: [fill-time]\n")
    off = OFF.replace("        switch", f"{when}        needs: [fill-time]\n        switch")
    assert changed.change("\n      - step: rise", off + "      - step: rise").faults() == []
