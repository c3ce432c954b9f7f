"""What a wire log says of the run itself: enough to run it again, and to see whether it comes to the same.

The files as they were, by name and not by place; who was to be asked, every answer of a person, every step's verdict.
Where no instrument on a wire stands in for the person, their answers are kept as if one did, so that they come again
when they came.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from datetime import UTC, datetime
from typing import Any

from rig.bench.opening import OpenBench
from rig.bench.ports import hands_line, text_words
from rig.bench.wire_log import WireLog
from rig.events import Answered, Event, Prompted, RunEnded, StepEnded
from rig.plan.load import Loaded
from rig.plan.wiring import Bench

PERSON = "person"


class RunInLog:
    """Listens to a run and tells its log. ``files`` are what was loaded, ``by_hand`` and ``by`` as they were asked."""

    def __init__(self, log: WireLog, files: Mapping[str, Loaded], by_hand: tuple[str, ...], by: str) -> None:
        self.log = log
        self._bench: OpenBench | None = None
        bench = files["bench"].model
        assert isinstance(bench, Bench)
        on_wire = any(link.protocol == PERSON for link in bench.links.values())
        self._person = None if on_wire else log.link(PERSON, "lines", text_words)
        written = {kind: {"name": f.path.name, "text": text_of(f)} for kind, f in files.items()}
        utc = datetime.now(UTC).isoformat(timespec="seconds")
        log.tell("run", 0.0, utc=utc, files=written, by_hand=list(by_hand), by=by)

    def opened(self, bench: OpenBench) -> None:
        """The bench is open, and has a clock."""
        self._bench = bench

    def __call__(self, event: Event) -> None:
        """One event of the run."""
        now = event.at if self._bench is None else self._bench.live.clock.now()
        if isinstance(event, Prompted) and self._person is not None:
            line = hands_line(event.verb, event.thing, event.kind, event.options, event.unit)
            self._person.asked(PERSON, line, now)
        elif isinstance(event, Answered):
            if self._person is not None:
                self._person.said(PERSON, json.dumps({"answer": event.answer}).encode() + b"\n", now)
                self._person.over(now)
            self.log.tell("answer", now, step=event.step, answer=event.answer, by=event.answered_by)
        elif isinstance(event, StepEnded):
            self.log.tell("step", now, **outcome(event))
        elif isinstance(event, RunEnded):
            self.log.tell("end", now, verdict=str(event.verdict), all_off=event.all_off)


def outcome(event: StepEnded) -> dict[str, Any]:
    """What a step came to, as far as a log keeps it."""
    result = event.result
    reading = None if result.reading is None else result.reading.shown
    return {"step": result.name, "attempt": result.attempt, "verdict": str(result.verdict), "reading": reading,
            "reason": result.reason}  # fmt: skip


def text_of(loaded: Loaded) -> str:
    """The file as it stands on the disk. What was loaded from it has been read and is text."""
    return loaded.path.read_text(encoding="utf-8-sig")
