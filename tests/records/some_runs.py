"""A run as the engine would tell it, for the tests of this room."""

from __future__ import annotations

from rig.events import (
    AllOff,
    Answered,
    Event,
    Noted,
    OutputConfirmed,
    OutputIntended,
    Prompted,
    Reading,
    RunEnded,
    RunStarted,
    Sampled,
    StageStarted,
    StepEnded,
    StepResult,
    StepStarted,
    Traced,
)
from rig.limits import Limit, Verdict


def started(run: str, serial: str = "LM-0042", job: str = "J-7") -> RunStarted:
    return RunStarted(
        at=0.0,
        run=run,
        procedure="incoming-inspection",
        revision="1",
        unit="demo-18-dc",
        serial=serial,
        bench="simulated",
        simulated=True,
        by="A. Bench",
        job=job,
        seed=3,
        faults=(("coil-open", 1.0), ("line-narrowed", 0.25)),
        utc="2026-03-01T08:00:00Z",
        steps=3,
        minutes=5.5,
        answered_by="simulated person",
    )


def supply(value: float = 14.1, verdict: Verdict = Verdict.FAIL) -> StepResult:
    # whole numbers in places of floats on purpose: the store must not care
    return StepResult(
        name="fill-supply-loaded",
        verdict=verdict,
        reason=None,
        reading=Reading(
            value,
            "V",
            0.01,
            "14.100 V ± 0.020 V",
            parts=(("resolution", 0.003), ("accuracy", 0.009)),
            raw=(14.09, 14.1, 14.11),
        ),
        limit=Limit(20.4, 28.8, "V", "invented for the tests", shown_in="mV"),
        conformance_probability=0,
        bracket=(30, 31.5),
        started=20,
        ended=31.5,
    )


def asked() -> StepResult:
    return StepResult("look-over", Verdict.PASS, None, None, None, None, None, 0.0, 4.0, answer="yes")


def not_had() -> StepResult:
    reason = "the meter did not answer within 2 s"
    return StepResult("coil-resistance", Verdict.NO_READING, reason, None, None, None, None, 32.0, 34.0)


def whole_run(run: str, serial: str = "LM-0042", job: str = "J-7") -> list[Event]:
    """Every kind of event, in a likely order."""
    return [
        started(run, serial, job),
        StageStarted(0.0, "papers", "Papers — «größer»", "dead", ("Gloves.", "Goggles.")),
        StepStarted(0.0, "look-over", "papers", "asks", 4.0),
        Prompted(0.0, "look-over", "look", "stop-findings", "All free?", "Mind the edges.", "yes or no", ""),
        Answered(4.0, "look-over", "yes", "simulated person"),
        StepEnded(4.0, asked()),
        StepStarted(20.0, "fill-supply-loaded", "fill", "measures DC volts", 1.0),
        OutputIntended(20.0, "mains", True),
        OutputConfirmed(20.2, "mains", True, "mains-aux closed"),
        Sampled(21.0, "fill-supply-loaded", "chamber-temperature", 20.5, "Cel"),
        Traced(
            25.0,
            "fill-supply-loaded",
            "fill-current",
            "A",
            (21.0, 22.0, 23.0),
            (0.1, 0.2, 0.30000000000000004),
        ),
        Noted(26.0, "a switch had to be repeated"),
        StepEnded(31.5, supply()),
        StepEnded(34.0, not_had()),
        OutputIntended(34.0, "mains", False),
        OutputConfirmed(34.1, "mains", False, "mains-aux open"),
        AllOff(34.5, True, ()),
        RunEnded(34.5, Verdict.NO_READING, None, True, 34.5, 1.25),
    ]
