"""A run as one sees it: told from its events, while it goes on or long after."""

from __future__ import annotations

import threading
import time
from types import TracebackType

from rich.text import Text

from rig.cli.printer import Printer
from rig.cli.progress import PlanFacts, Progress
from rig.cli.rows import step_lines, wrapped
from rig.cli.summary import off_lines, summary_lines
from rig.events import (
    AllOff,
    Answered,
    Event,
    Noted,
    Prompted,
    RunEnded,
    RunStarted,
    StageStarted,
    StepEnded,
    StepResult,
)
from rig.plan.visible import visible
from rig.shown.numbers import minutes_text, significant, with_unit

TICK = 0.5  # s of wall time: the seconds on the bottom line go on while nothing happens
SIMULATED = "SIMULATED"
_NO_REAL_UNIT = "no real unit is on this bench; nothing here is evidence of one"


class Live:
    """A listener of events that prints. Use it in a ``with``, so that the bottom line goes at the end.

    ``pace`` is the bench's seconds to one on the wall, 0 when only events move its time on; ``asks`` when a
    person at this terminal answers; ``again`` is the command that shows the run once more.
    """

    def __init__(
        self,
        printer: Printer,
        facts: PlanFacts | None = None,
        *,
        pace: float = 0.0,
        asks: bool = False,
        again: str = "",
    ) -> None:
        self._out, self._looks = printer, printer.looks
        self._asks, self._again, self._pace = asks, again, pace
        self._progress = Progress(facts or PlanFacts())
        self._started: RunStarted | None = None
        self._results: list[StepResult] = []
        self._all_off: AllOff | None = None
        self._prompt: Prompted | None = None
        self._seen_at = time.monotonic()
        self._over = threading.Event()

    def __call__(self, event: Event) -> None:
        """Take one event. Cheap for those that only move the bottom line."""
        self._progress.take(event)
        self._seen_at = time.monotonic()
        if isinstance(event, StepEnded):
            self._results.append(event.result)
            self._out.line(*step_lines(event.result, self._looks, self._out.width))
        elif isinstance(event, StageStarted):
            self._stage(event)
        elif isinstance(event, Prompted):
            self._prompted(event)
        elif isinstance(event, Answered):
            self._answered(event)
        elif isinstance(event, Noted):
            self._out.line(*self._wrapped(f"note: {visible(event.text, 400)}", 2))
        elif isinstance(event, RunStarted):
            self._begin(event)
        elif isinstance(event, AllOff):
            self._all_off = event
        elif isinstance(event, RunEnded):
            self._end(event)
        self._draw()

    def __enter__(self) -> Live:
        if self._out.terminal:
            threading.Thread(target=self._tick, name="bottom line", daemon=True).start()
        return self

    def __exit__(self, kind: type[BaseException] | None, fault: BaseException | None, at: TracebackType | None) -> None:
        self._out.clear()
        if self._started is not None and not self._over.is_set() and self._all_off is not None:
            # the run broke off without an end: this much is known all the same
            self._out.line(*off_lines(self._all_off.confirmed, self._all_off, self._out.width))
        self._over.set()

    def _tick(self) -> None:
        while not self._over.wait(TICK):
            self._draw()

    def _wrapped(self, text: str | Text, indent: int) -> list[Text]:
        whole = Text(text) if isinstance(text, str) else text
        return wrapped(whole, max(self._out.width - 1, 20), indent)

    # top, headings, prompts, bottom

    def _begin(self, event: RunStarted) -> None:
        self._started = event
        dot = self._looks.pick(" · ", ", ")
        if event.simulated:
            self._out.line(*self._wrapped(Text.assemble((SIMULATED, "bold reverse"), f" {_NO_REAL_UNIT}"), 0))
        facts = [
            f"{visible(event.procedure)} {visible(event.revision)}",
            f"unit {visible(event.unit)}" if event.unit else "no unit",
            f"serial {visible(event.serial)}" if event.serial else "no serial number",
            f"bench {visible(event.bench)}",
        ]
        facts += [f"job {visible(event.job)}"] if event.job else []
        facts += [f"by {visible(event.by)}"] if event.by else []
        self._out.line(*self._wrapped(dot.join(facts), 0))
        size = [f"{event.steps} steps", f"about {max(1, round(event.minutes))} min of work"]
        size += [f"seed {event.seed}"] if event.seed is not None else []
        size += [f"faults {', '.join(_fault(*f) for f in event.faults)}"] if event.faults else []
        size += [f"answers: {visible(event.answered_by)}"] if event.answered_by else []
        self._out.line(*self._wrapped(dot.join(size), 0))

    def _stage(self, event: StageStarted) -> None:
        dash = self._looks.pick("──", "--")
        head = f"{dash} {visible(event.title, 200)} {dash} {visible(event.drive)}"
        lines = [Text(""), *self._wrapped(Text(head, "bold"), 0)]
        for caution in event.cautions:
            lines += self._caution(caution)
        self._out.line(*lines)

    def _caution(self, caution: str) -> list[Text]:
        lines = self._wrapped(Text(f"CAUTION {visible(caution, 2000)}"), 4)
        lines[0] = Text.assemble(("  ! ", "bold yellow"), lines[0][4:])
        for line in lines:
            line.stylize("yellow", 4)
        return lines

    def _prompted(self, event: Prompted) -> None:
        lines = self._caution(event.caution) if event.caution else []
        self._prompt = event
        if self._asks:
            lines += self._wrapped(f"? {visible(event.question, 2000)}", 2)
        if lines:
            self._out.line(*lines)

    def _answered(self, event: Answered) -> None:
        who, prompt, self._prompt = visible(event.answered_by), self._prompt, None
        if self._asks:
            if event.answered_by != "terminal":
                self._out.line(*self._wrapped(f"= {visible(event.answer, 200)} ({who})", 2))
        else:
            question = f"? {visible(prompt.question, 2000)}" if prompt is not None else f"? {visible(event.step)}"
            self._out.line(*self._wrapped(f"{question} = {visible(event.answer, 200)} ({who})", 2))

    def _end(self, event: RunEnded) -> None:
        self._over.set()
        width = self._out.width
        self._out.line("", *summary_lines(event, self._results, self._all_off, self._looks, width))
        started = self._started
        if started is not None:
            self._out.line(*self._wrapped(f"Run {visible(started.run)}", 0))
            if self._again:  # not wrapped: it is there to be copied
                self._out.line(f"See it again with: {visible(self._again, 1000)}")
            if started.simulated:
                self._out.line(Text(SIMULATED, "bold reverse"))

    def _draw(self) -> None:
        if not self._over.is_set() and self._started is not None and self._out.bottom_is_due():
            self._out.bottom(self._bottom())

    def _bottom(self) -> Text:
        """The line of the step that is worked on: how far, how long, what it waits for, the latest value."""
        progress, dot = self._progress, self._looks.pick(" · ", ", ")
        now = progress.at + self._pace * (time.monotonic() - self._seen_at)
        left = progress.minutes_left(now)
        parts = [
            f"{progress.done}/{progress.total}",
            f"{left:.0f} min left" if left >= 1 else "under 1 min left",
        ]
        step = progress.step
        if step is not None:
            parts.append(f"{visible(step.step)} {minutes_text(now - step.at)}")
            parts.append(visible(progress.waits_for))
        if progress.sampled is not None:
            value, code = progress.sampled.value, progress.sampled.unit
            latest = with_unit(significant(value, 4), code, self._looks.fancy)
            parts.append(f"{visible(progress.sampled.quantity)} {latest}")
        return Text(self._looks.pick("▸ ", "> ") + dot.join(p for p in parts if p), "cyan")


def _fault(name: str, severity: float) -> str:
    return visible(name) if severity == 1 else f"{visible(name)} {severity:g}"
