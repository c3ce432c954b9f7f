"""A contact that chatters after it first closed: how often, and when it stayed."""

from __future__ import annotations

import random
from collections.abc import Callable

import pytest

from rig.errors import InputError
from rig.events import StepResult
from rig.limits import Verdict
from rig.plan.plan import Plan
from rig.run.contact import Chatter, changes
from rig.run.edges import Bracket, Seen
from tests.conftest import bundled_plan, by_name, run


def looks(states: str, every: float = 0.1) -> list[Seen]:
    """One look a letter, w for wet, an exchange taking 10 ms."""
    return [Seen(c == "w", n * every, n * every + 0.01, "probe", "", "") for n, c in enumerate(states)]


@pytest.mark.parametrize(
    ("states", "count", "last"),
    [("wwww", 0, None), ("wdww", 2, (0.1, 0.21)), ("dwdww", 4, (0.2, 0.31)), ("wwwd", 1, (0.2, 0.31)), ("", 0, None)],
)
def test_changes_after_the_first(states: str, count: int, last: tuple[float, float] | None) -> None:
    found = changes(looks(states))
    assert len(found) == count
    if last is not None:
        assert (found[-1].before, found[-1].after) == pytest.approx(last)


def test_what_is_told() -> None:
    """By hand: edges of 0.11 s width, half widths 0.055 s, 2 u = 2 sqrt(2) 0.055 / sqrt(3) = 0.09 s."""
    start, first = Bracket(0.0, 0.11), Bracket(80.0, 80.11)
    quiet = Chatter((), 5.0).told(start, first)
    assert quiet == "first after 80.00 s \u00b1 0.09 s; no change in the 5 s after it"
    told = Chatter((Bracket(81.0, 81.11), Bracket(82.0, 82.11)), 5.0).told(start, first)
    assert "2 changes or more in the 5 s" in told
    assert told.endswith("the last after 82.00 s \u00b1 0.09 s")


def test_each_change_lies_in_its_bracket() -> None:
    """Contacts that change slower than the looks: none is missed, and each is where it is said to be."""
    source = random.Random(4)
    for _ in range(50):
        at, times = 0.3, []
        while at < 8.0:
            times.append(at)
            at += source.uniform(0.25, 1.5)
        seen = []
        for n in range(100):
            asked = n * 0.1
            wet = sum(t <= asked + 0.005 for t in times) % 2 == 0
            seen.append(Seen(wet, asked, asked + 0.01, "probe", "", ""))
        found = changes(seen)
        assert len(found) == len(times)
        assert all(b.before <= t <= b.after for b, t in zip(found, times, strict=True))


TRIAL = """
procedure: trial
title: A trial
revision: "1"
stages:
  - stage: only
    title: Only
    drive: dead
    steps:
"""
OPENS_AGAIN = (
    TRIAL
    + """\
      - step: contact
        time:
          from: {input: level-lift-aux, is: on}
          until: {input: air-dump-aux, is: on}
          start-within: 5 s
          give-up: 10 s
        start: {turn-on: [level-lift]}
        every: 100 ms
        then-watch: 5 s
        limit: {at-most: 8 s, source: a test}
        meanwhile:
          - step: pulse
            measure: temperature
            at: ambient-temperature
            energize: [air-dump]
            settle: 2 s
            no-limit: for the pulse
"""
)


def test_a_contact_that_opens_again_is_on_record(written: Callable[[str], Plan]) -> None:
    step = by_name(run(written(OPENS_AGAIN)))["contact"]
    assert step.verdict is Verdict.PASS
    assert step.answer is not None
    assert "1 change" in step.answer
    assert "in the 5 s after it" in step.answer
    short = by_name(run(written(OPENS_AGAIN.replace("then-watch: 5 s", "then-watch: 1 s"))))["contact"]
    assert short.answer is not None
    assert "no change in the 1 s" in short.answer


def test_only_a_contact_is_looked_on_at(written: Callable[[str], Plan]) -> None:
    text = OPENS_AGAIN.replace("{input: air-dump-aux, is: on}", "{output: air-dump, is: on}")
    with pytest.raises(InputError) as caught:
        written(text)
    assert "then-watch" in "".join(caught.value.lines())


def chatter_of(seed: int, *faults: tuple[str, float], unit: str = "demo-18-dc") -> StepResult:
    record = run(bundled_plan("fill-diagnosis", unit), seed=seed, faults=faults)
    return by_name(record)["as-found-chatter"]


@pytest.mark.parametrize(("seed", "unit"), [(1, "demo-18-dc"), (3, "demo-18-dc"), (2, "demo-18-ac"), (4, "demo-24-dc")])
def test_the_waves_of_a_fill_are_no_fault(seed: int, unit: str) -> None:
    """The surface rises by some hundredths of a millimetre a second, and the waves on it are as high: what they do to
    a sound probe is over in a second."""
    found = chatter_of(seed, unit=unit)
    assert found.verdict is Verdict.PASS
    assert found.reading is not None
    assert 0.0 <= found.reading.value < 1.0
    assert {line.name for line in found.reading.budget} == {"edges", "clock"}
    assert "inputs-1" in found.reading.instrument


def test_a_probe_that_lets_go_is_seen_in_the_fill_that_passes() -> None:
    record = run(bundled_plan("fill-diagnosis"), seed=2, faults=(("probe-coated~", 1.0),))
    steps = by_name(record)
    assert steps["as-found-time"].verdict is Verdict.PASS
    assert steps["as-found-chatter"].verdict is Verdict.FAIL
    assert "changes or more after the first contact" in str(steps["as-found-chatter"].answer)


def test_a_probe_that_never_got_wet_has_no_chatter_and_no_blame() -> None:
    found = chatter_of(4, ("coil-open", 1.0))
    assert found.verdict is Verdict.NOT_RUN
    assert "did not close" in str(found.reason)


CONTACT = (
    TRIAL
    + """\
      - step: course
        record: [%s]
        every: 100 ms
        for: 5 s
        judge: %s
        limit: {at-most: 2 s, source: a test}
"""
)


@pytest.mark.parametrize(
    ("record", "judge", "says"),
    [
        ("level-probe", "highest of level-probe", "an input has no highest; expected first contact or chatter"),
        ("chamber-temperature", "chatter of chamber-temperature", "no unit for the chatter of a temperature"),
        ("level-prob", "chatter of level-prob", "no quantity or input is called 'level-prob'"),
        ("level-probe", "chatters of level-probe", "expected judge:"),
    ],
)
def test_what_a_contact_has_not(record: str, judge: str, says: str, written: Callable[[str], Plan]) -> None:
    with pytest.raises(InputError) as caught:
        written(CONTACT % (record, judge))
    assert says in "".join(caught.value.lines())
