"""Events of a run that never was, for whoever shows runs."""

from __future__ import annotations

from typing import Any

from rig.events import Event, Reading, RunEnded, RunStarted, StepEnded, StepResult
from rig.limits import Limit, Verdict, judge

RUN = "019f22e2-79b0-7cc3-98c4-dc0c0c07398f"
SUPPLY = Limit(20.4, 28.8, "V", "invented for the tests", shown_in="V")


def began(**changes: Any) -> RunStarted:
    plain: dict[str, Any] = {
        "at": 0.0,
        "run": RUN,
        "procedure": "incoming-inspection",
        "revision": "1",
        "unit": "demo-18-dc",
        "serial": "LM-0042",
        "bench": "simulated",
        "simulated": True,
        "by": "A. Bench",
        "job": "",
        "seed": 3,
        "faults": (),
        "utc": "2026-03-01T08:00:00.000+00:00",
        "steps": 3,
        "minutes": 5.0,
        "answered_by": "terminal",
    }
    return RunStarted(**(plain | changes))


def judged(name: str, value: float, u: float, limit: Limit, **changes: Any) -> StepResult:
    """A step with a reading in the limit's unit, judged by the rule."""
    found = judge(value, u, limit)
    reading = Reading(value, limit.unit, u, "", bound=changes.pop("bound", None))
    plain: dict[str, Any] = {
        "name": name,
        "verdict": found.verdict,
        "reason": None,
        "reading": reading,
        "limit": limit,
        "conformance_probability": found.conformance_probability,
        "bracket": None,
        "started": 0.0,
        "ended": 1.0,
    }
    return StepResult(**(plain | changes))


def without_reading(name: str, verdict: Verdict, reason: str | None, answer: str | None = None) -> StepResult:
    return StepResult(name, verdict, reason, None, None, None, None, 0.0, 1.0, answer=answer)


def end(verdict: Verdict = Verdict.PASS, **changes: Any) -> RunEnded:
    plain: dict[str, Any] = {
        "at": 60.0,
        "verdict": verdict,
        "reason": None,
        "all_off": True,
        "seconds": 60.0,
        "wall_seconds": 1.0,
    }
    return RunEnded(**(plain | changes))


def steps(*results: StepResult) -> list[Event]:
    return [StepEnded(result.ended, result) for result in results]
