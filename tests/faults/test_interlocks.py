"""Every interlock, broken while each kind of step is at work: off within the stated period, named, latched."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from rig.bench.opening import OpenBench
from rig.events import Event, RunRecord, Sampled, StepStarted
from rig.limits import Verdict
from rig.plan.plan import Plan
from rig.run.journal import ListJournal
from rig.run.session import RunRequest, run_procedure
from tests.conftest import bundled_plan, by_name

HEAD = """
procedure: trial
title: A trial
revision: "1"
stages:
  - stage: before
    title: Before
    drive: dead
    steps:
      - step: earth-bond
        ask: Earth bond?
        verb: measure
        thing: earth-bond
        answer: {number-in: Ohm}
        limit: {at-most: 0.2 Ohm, source: a test}
      - step: live-work
        ask: Authorised, and somebody within call?
        verb: confirm
        thing: live-work
        answer: yes or no
        expect: yes
      - step: shut
        ask: Door and lid shut?
        verb: confirm
        thing: door-shut
        answer: done
  - stage: live
    title: Live
    drive: board drives
    steps:
      - step: power
        switch: {turn-on: [mains]}
"""

# Each runs for at least some seconds with the mains on.
KINDS = {
    "settle": "settle: 20 s",
    "measure a quantity": """measure: temperature
        at: ambient-temperature
        average: 50
        limit: {at-least: 0 Cel, source: a test}""",
    "measure with the meter": """measure: AC volts
        at: heater-terminals
        range: 750 V
        average: 20
        no-limit: a test""",
    "record": """record: [chamber-temperature, jug-mass]
        every: 1 s
        for: 20 s
        judge: highest of chamber-temperature
        no-limit: a test""",
    "time": """time:
          from: {output: mains, is: off}
          until: {input: level-probe, is: wet}
          start-within: 30 s
          give-up: 30 s
        every: 100 ms
        no-limit: a test""",
    "ask": """ask: Look it over at leisure.
        verb: look
        thing: stop-findings
        answer: yes or no
        expect: yes""",
}

PERIOD = 0.5  # s, interlocks-every of the bundled bench
LATE = 0.15  # s for the exchanges that were under way

Breach = Callable[[Any], None]


def contact(channel: int, closed: bool) -> Breach:
    """An input that reads so from now on."""

    def breach(plant: Any) -> None:
        true = plant.inputs
        plant.inputs = lambda: [closed if n == channel else v for n, v in enumerate(true())]

    return breach


def both(*breaches: Breach) -> Breach:
    """Several at once."""

    def breach(plant: Any) -> None:
        for one in breaches:
            one(plant)

    return breach


def reads(channel: int, value: float) -> Breach:
    """An analog channel that reads so from now on."""

    def breach(plant: Any) -> None:
        true = plant.quantity
        plant.quantity = lambda n: value if n == channel else true(n)

    return breach


def run_and_break(
    plan: Plan,
    breach: Breach,
    when: Callable[[Event], bool],
    after: float = 1.0,
    coil: tuple[int, int] = (1, 0),
) -> tuple[RunRecord, float, float, Any]:
    """Break an interlock ``after`` seconds after an event; the record, when it was broken, when the coil of the output
    (board and channel; the mains) fell."""
    benches: list[OpenBench] = []
    times: dict[str, float] = {}

    def opened(bench: OpenBench) -> None:
        benches.append(bench)
        plant, clock = bench.station.plant, bench.live.clock  # type: ignore[union-attr]
        drive = plant.set_coil

        def set_coil(board: int, channel: int, on: bool) -> None:
            if (board, channel) == coil and not on and plant.coils(board)[channel] and "broken" in times:
                times["off"] = clock.now()
            drive(board, channel, on)

        plant.set_coil = set_coil

    async def later(bench: OpenBench) -> None:
        await bench.live.clock.sleep(after)
        times["broken"] = bench.live.clock.now()
        breach(bench.station.plant)  # type: ignore[union-attr]

    def watch(event: Event) -> None:
        if when(event) and "armed" not in times:
            times["armed"] = 1.0
            tasks.append(benches[0].live.clock.spawn(later(benches[0]), "breach"))

    tasks: list[Any] = []
    record = run_procedure(RunRequest(run="test", seed=2), plan, [watch], lambda _: ListJournal(), opened)
    assert "broken" in times, "the moment never came"
    return record, times["broken"], times.get("off", float("inf")), benches[0]


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize(
    ("name", "breach"),
    [
        ("estop", contact(12, False)),
        ("lid", contact(13, False)),
        ("too-hot", reads(0, 150.0)),
        ("too-much-pressure", reads(4, 3.6e5)),
        ("went off by itself", contact(0, False)),
    ],
)
def test_broken_while_the_mains_is_on(kind: str, name: str, breach: Breach, written: Callable[[str], Plan]) -> None:
    plan = written(f"{HEAD}      - step: work\n        {KINDS[kind]}\n")
    record, broken, off, bench = run_and_break(plan, breach, lambda e: isinstance(e, StepStarted) and e.step == "work")
    slow = 2.0 if name.startswith("too-") else 0.0  # an age limit of its own: read at least every second
    assert off - broken <= PERIOD + LATE + slow
    assert record.ended.verdict is Verdict.STOPPED
    assert name in (record.ended.reason or "")
    assert by_name(record)["work"].verdict is Verdict.STOPPED
    assert by_name(record)["earth-bond"].reading is not None
    assert record.ended.all_off
    assert bench.live.interlocks.latched is not None
    assert not any(bench.station.plant.coils(1))


@pytest.mark.parametrize(
    ("name", "breach", "moment", "slow"),
    [
        # as the heater is released the board does not ask for heat yet, which lifts this one: so it must ask, too
        ("heater-water", both(contact(20, False), contact(18, True)), "mains-under-load", 0.0),
        ("heater-water", contact(20, False), "heater-current", 0.0),
        ("heater-water", contact(20, False), "time-40-to-90", 0.0),
        ("estop", contact(12, False), "heater-current", 0.0),
        ("too-hot", reads(0, 150.0), "time-40-to-90", 2.0),
        ("heater-watch", reads(0, 60.0), "time-40-to-90", 62.0),
    ],
)
def test_broken_while_the_heater_is_on(name: str, breach: Breach, moment: str, slow: float) -> None:
    record, broken, off, bench = run_and_break(
        bundled_plan(), breach, lambda e: isinstance(e, StepStarted) and e.step == moment, after=1.5
    )
    assert off - broken <= PERIOD + LATE + slow
    assert record.ended.verdict is Verdict.STOPPED
    assert name in (record.ended.reason or "")
    assert record.ended.all_off
    assert bench.station.plant.abuses == []


def test_an_output_that_may_not_go_on_never_does(written: Callable[[str], Plan]) -> None:
    """Mains with the lid open: refused before any intent is on record."""
    text = HEAD.replace("thing: door-shut", "thing: nothing-in-particular")
    record = run_procedure(
        RunRequest(run="test"),
        written(text + "      - step: work\n        settle: 1 s\n"),
        [],
        lambda _: ListJournal(),
    )
    step = by_name(record)["power"]
    assert step.verdict is Verdict.STOPPED
    assert "interlock lid: lid is open, must be shut" in (step.reason or "")


def test_every_output_has_a_longest_on_time(written: Callable[[str], Plan]) -> None:
    """Below the engine, too: a step that lasts longer than its output may is cut short."""
    plan = written(f"{HEAD}      - step: work\n        settle: 44 min\n      - step: more\n        settle: 30 s\n")
    bench = plan.bench.model_copy(
        update={
            "outputs": {
                **plan.bench.outputs,
                "mains": plan.bench.outputs["mains"].model_copy(
                    update={"longest_on": plan.bench.interlocks_every.__class__(60.0, "s")}
                ),
            }
        }
    )
    short = Plan(plan.procedure, plan.profile, bench)
    record = run_procedure(RunRequest(run="test"), short, [], lambda _: ListJournal())
    step = by_name(record)["work"]
    assert step.verdict is Verdict.STOPPED
    assert "longest time" in (step.reason or "")
    assert step.ended - by_name(record)["power"].ended < 60 + PERIOD + LATE + 1


def test_a_value_that_cannot_be_had_is_a_breach() -> None:
    """The analog module fails while the heater is on: no reading, named, and everything off at once."""
    benches: list[OpenBench] = []
    count = [0]

    def watch(event: Event) -> None:
        if isinstance(event, Sampled) and event.step == "time-40-to-90":
            count[0] += 1
            if count[0] == 5:
                station = benches[0].station
                assert station is not None
                station.misbehave("silence", "analog-1")

    record = run_procedure(
        RunRequest(run="test", seed=2), bundled_plan(), [watch], lambda _: ListJournal(), benches.append
    )
    station = benches[0].station
    assert station is not None
    assert record.ended.verdict is Verdict.NO_READING
    assert "analog-1" in (record.ended.reason or "")
    assert by_name(record)["heater-current"].reading is not None
    assert not any(station.plant.coils(1))
    assert not record.ended.all_off, "what should be measured to confirm it cannot be had"


def test_what_goes_on_by_itself_while_all_is_off_is_dropped_and_named(written: Callable[[str], Plan]) -> None:
    """A contactor closes in a dead stage, where somebody has their hands in the unit."""
    text = HEAD[: HEAD.index("  - stage: live")] + "      - step: hands-in\n        settle: 30 s\n"
    record, _, _, bench = run_and_break(
        written(text), contact(0, True), lambda e: isinstance(e, StepStarted) and e.step == "hands-in"
    )
    assert record.ended.verdict is Verdict.STOPPED
    assert "mains: is on, and nobody turned it on" in (record.ended.reason or "")
    assert by_name(record)["hands-in"].ended - by_name(record)["hands-in"].started < 1.0 + 2.0 + PERIOD + LATE
    assert not record.ended.all_off
    assert bench.live.interlocks.latched is not None


def test_turning_on_what_is_on_does_not_begin_its_longest_time_anew(written: Callable[[str], Plan]) -> None:
    text = f"{HEAD}      - step: again\n        repeat:\n          times: 9\n          steps:\n"
    text += "            - step: power-again\n              switch: {turn-on: [mains]}\n"
    text += "            - step: waits\n              settle: 10 s\n"
    plan = written(text)
    mains = plan.bench.outputs["mains"]
    short = mains.model_copy(update={"longest_on": plan.bench.interlocks_every.__class__(30.0, "s")})
    bench = plan.bench.model_copy(update={"outputs": {**plan.bench.outputs, "mains": short}})
    record = run_procedure(
        RunRequest(run="test"), Plan(plan.procedure, plan.profile, bench), [], lambda _: ListJournal()
    )
    assert "longest time" in (record.ended.reason or "")
    assert record.ended.at - by_name(record)["power"].ended < 30 + PERIOD + LATE + 1
