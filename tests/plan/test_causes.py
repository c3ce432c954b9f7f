"""Tables of causes: the bundled ones are whole, and what is wrong with one is told at its place."""

# ruff: noqa: E501 (a table: one mistake a line)

from __future__ import annotations

import re
from pathlib import Path

import pytest

from rig.errors import InputError
from rig.plan.causes import CauseTable
from rig.plan.check import check
from rig.plan.load import bundled, load, load_named

# One name is one physical fault, whichever complaint it stands under.
CAUSES = {
    "no-water-level": "board-level-input-dead board-output-dead bottle-vent-shut coil-open coil-shorted"
    " condenser-narrowed filter-choked fouled ground-open hot-restart lead-high-ohm line-narrowed not-level"
    " plunger-stuck probe-coated rectifier-open reservoir-low spring-weak vent-valve-shut water-too-pure"
    " weep-hole-blocked",
    "slow-heat": "cutout-weak gasket-worn half-wave-switch heater-open heater-scaled hot-joint mains-low"
    " one-element-open overload pressure-sensor-off temp-sensor-off too-little-water too-much-water"
    " valve-seat-passing vent-valve-open vent-valve-shut",
    "wet-or-leaking": "condenser-narrowed door-misaligned door-not-opening dry-heat-weak filter-choked fitting-leak"
    " gasket-worn gland-leak loading not-level pressure-sensor-off relief-weeping reservoir-overfull spring-weak"
    " valve-seat-passing vent-valve-seat",
}
SITE = (
    "bottle-vent-shut hot-restart loading mains-low not-level overload reservoir-low reservoir-overfull"
    " too-little-water too-much-water water-too-pure"
)


def table(complaint: str) -> CauseTable:
    model = load_named("complaint", complaint).model
    assert isinstance(model, CauseTable)
    return model


def test_the_bundled_tables_have_their_causes() -> None:
    assert set(bundled("complaint")) == set(CAUSES)
    for complaint, names in CAUSES.items():
        found = table(complaint)
        assert sorted(found.causes) == sorted(names.split())
        assert {n for n, c in found.causes.items() if c.belongs_to == "site"} == set(SITE.split()) & set(found.causes)


@pytest.mark.parametrize("complaint", CAUSES)
def test_a_bundled_table_is_in_order_and_complete(complaint: str) -> None:
    assert check([bundled("complaint")[complaint]]) == []
    found = table(complaint)
    assert found.numbers == "estimate"
    for place in ("field", "bench"):
        total = sum(c.start.at(place) for c in found.causes.values()) + found.none_of_these.at(place)
        assert 0.9 < total < 1.1
    told = {cause for seen in found.observations.values() for cause in seen.given}
    assert told == set(found.causes), "every cause is told by something"
    assert {c.remedy for c in found.causes.values()} <= set(found.remedies)
    assert any(seen.who == "owner" for seen in found.observations.values())
    for name, seen in found.observations.items():
        assert seen.splits, name
        if seen.who == "owner":
            assert seen.safety in ("ordinary care", "cold and open"), name


# What an owner does not have, or must not do. A telephone shows a level; a cup of water is at hand.
NOT_AN_OWNERS = re.compile(
    r"meter\b|voltage|current|ohm|spanner|screw|tool|magnif|profile|spirit level|electrician"
    r"|covers?\b|relief valve|take .* off|unscrew|bridge",
    re.IGNORECASE,
)


@pytest.mark.parametrize("complaint", CAUSES)
def test_an_owner_answers_by_eye_and_hand_and_is_told_first_what_makes_it_safe(complaint: str) -> None:
    found = table(complaint)
    for name, seen in found.observations.items():
        if seen.who != "owner":
            continue
        said = " ".join([seen.question, *seen.tells.values()]).replace("covers the probe", "")
        assert not NOT_AN_OWNERS.search(said), name
        assert not any(found.set_ups[s].cover for s in seen.set_ups), name
        if seen.safety == "cold and open":  # the plug first, then cold, then what is to be done
            assert re.search(r"mains plug.*(cold|cooled).*:", seen.question, re.IGNORECASE), name
        elif seen.set_ups:  # the unit runs meanwhile
            assert "from a step away and touching nothing:" in seen.question, name


SMALL = """\
complaint: small
title: A small complaint
revision: "1"
source: a test
numbers: estimate
counts-as: 10
starts-count-as: 20
none-of-these: {field: 0.1, bench: 0.1}
two-causes: {field: 0.1, bench: 0.1}
risk-minutes: {board drives: 12}
cautions: [Pull the plug.]
remedies:
  renew-coil: {title: Renew the coil, minutes: 10, repeat: [coil]}
  see-to-it: {title: See to it, minutes: 5}
causes:
  coil-open: {title: open, start: {field: 0.5, bench: 0.5}, remedy: renew-coil}
  not-level: {title: tilted, start: {field: 0.4, bench: 0.4}, remedy: see-to-it, belongs-to: site}
set-ups:
  covers-off: {title: covers off, hands-on: 2, cover: true}
observations:
  coil:
    title: coil
    question: What does the coil read?
    tells: {normal: right, none: open}
    who: technician
    safety: dead
    hands-on: 2
    set-ups: [covers-off]
    from:
      - {procedure: incoming-inspection, step: coil-resistance-at-20}
    healthy: {none: 0.02}
    given:
      coil-open: {none: 0.97}
"""

WRONG = [
    ("remedy: renew-coil}", "remedy: renew-coill}", "renew-coill", ("no remedy", "nearest is 'renew-coil'")),
    ("      coil-open: {none", "      coil-opn: {none", "coil-opn", ("no cause", "nearest is 'coil-open'")),
    ("set-ups: [covers-off]", "set-ups: [cover-off]", "cover-off]", ("no set-up", "nearest is 'covers-off'")),
    ("repeat: [coil]", "repeat: [coils]", "coils]", ("no observation", "nearest is 'coil'")),
    ("{none: 0.97}", "{none: 1.2}", "1.2", ("not more than 1",)),
    ("{none: 0.97}", "{none: 0.7, low: 0.5}", "{none: 0.7", ("at most 1", "1.2")),
    ("{none: 0.97}", "{low: 0.97}", "0.97}", ("'low' is not among", "normal, none")),
    ("{none: 0.97}", "{nome: 0.97}", "nome", ("unknown key 'nome'", "nearest is 'none'")),
    ("safety: dead", "safety: live", "live", ("ordinary care", "board drives")),
    ("tells: {normal: right, none: open}", "tells: {low: right, none: open}", "{low: right", ("normal",)),
    ("step: coil-resistance-at-20", "step: coil-resistence", "coil-resistence", ("has no step", "coil-resistance")),
    ("- {procedure: incoming-inspection", "- {procedure: incoming", "incoming,", ("no procedure",)),
    ("step: coil-resistance-at-20}", "step: coil-resistance-at-20, answers: {yes: [normal]}}", "{yes:", ("asks nobody",)),
    ("bench: 0.5}, remedy: renew", "bench: 5}, remedy: renew", "5}, remedy", ("not more than 1",)),
    ("none-of-these: {field: 0.1, bench: 0.1}", "none-of-these: {field: 0.1, bench: 0.0}", "0.0}", ("share must be left",)),
    ("two-causes: {field: 0.1, bench: 0.1}", "two-causes: {field: 0.1}", "{field: 0.1}", ("'bench' is missing",)),
    ("healthy: {none: 0.02}", "healthy: {none: 1.0}", "{none: 1.0", ("without a fault",)),
]  # fmt: skip


def test_the_small_table_is_in_order(tmp_path: Path) -> None:
    path = tmp_path / "small.yaml"
    path.write_text(SMALL, encoding="utf-8")
    assert check([path]) == []


@pytest.mark.parametrize(("old", "new", "at", "words"), WRONG, ids=[w[1] for w in WRONG])
def test_a_mistake_is_told_at_its_place(tmp_path: Path, old: str, new: str, at: str, words: tuple[str, ...]) -> None:
    assert SMALL.count(old) >= 1
    text = SMALL.replace(old, new, 1)
    path = tmp_path / "small.yaml"
    path.write_text(text, encoding="utf-8")
    faults = check([path])
    assert faults
    begin = text.index(new)
    offset = text.index(at, begin)
    line = text.count("\n", 0, offset) + 1
    column = offset - (text.rfind("\n", 0, offset) + 1) + 1
    assert (faults[0].line, faults[0].column) == (line, column), faults
    for word in words:
        assert word in faults[0].message, faults[0]


def test_a_broken_table_is_refused_by_load(tmp_path: Path) -> None:
    path = tmp_path / "broken.yaml"
    path.write_text(SMALL.replace("hands-on: 2\n", "hands-on: soon\n"), encoding="utf-8")
    with pytest.raises(InputError):
        load(path)
