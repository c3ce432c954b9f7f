"""The engine: runs one plan on one bench.

Stages in order; each is made ready, worked, and always made safe. What happens goes out as events, in order, and
comes back from ``emit`` only when it is kept. On every way out everything is turned off first.
"""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable, Collection, Sequence
from typing import Any, NamedTuple

from rig.bench.bench import LiveBench
from rig.errors import RECOVERABLE, RigError, Stopped
from rig.events import AllOff, Event, Noted, StageStarted, StepEnded, StepResult, StepStarted
from rig.limits import Limit, Verdict, worst
from rig.plan.plan import Plan
from rig.plan.procedure import Ask, Conditional, Measure, Record, Repeat, Stage, Time
from rig.run.outcome import Outcome, ratio_of
from rig.run.people import People, resume_prompt
from rig.run.steps import StepWork
from rig.run.timing import Beside

BAD = (Verdict.FAIL, Verdict.CONDITIONAL_FAIL, Verdict.NO_READING, Verdict.STOPPED)
CAPACITORS = 3.0  # s after mains off before the unit counts as dead: filter capacitors (common practice, no source)


class _Worked(NamedTuple):
    """The worst verdict of some steps that were done, and why the rest of the stage is left out (None: it is not)."""

    verdict: Verdict
    left_out: str | None


class Engine:
    """One run. ``run`` returns when everything is off; the verdict is then in ``verdict``, the reason in ``reason``."""

    def __init__(
        self,
        plan: Plan,
        bench: LiveBench,
        people: People,
        emit: Callable[[Event], None],
        by_hand: Collection[str] = (),
    ) -> None:
        self._plan, self._bench, self._emit = plan, bench, emit
        self._results: dict[str, StepResult] = {}
        self._attempts: dict[str, int] = {}
        self._verdicts: list[Verdict] = []
        self._ended: str | None = None  # why nothing more is run
        self._open: dict[str, float] = {}  # steps that have begun and not ended
        self._work = StepWork(plan, bench, people, emit, self._results, self._run_beside, by_hand)
        self._people = people
        self._tasks: list[asyncio.Task[Any]] = []
        self._main: asyncio.Task[Any] | None = None
        self._broken: RigError | None = None  # why the main task was cancelled from within: an interlock, the keeper
        self._pausing = self._stopping = self._making_safe = self._in_stage = self._over = False
        self.last_resort: Callable[[], Awaitable[tuple[str, ...] | None]] | None = None  # the second process
        bench.interlocks.tripped = self.break_off
        self.reason: str | None = None
        self.all_off = False

    @property
    def verdict(self) -> Verdict:
        """The worst of the steps, every attempt counted."""
        return worst(self._verdicts)

    async def run(self, prelude: Callable[[], Awaitable[None]]) -> None:
        """Run all stages, after ``prelude`` (roll call, watchdogs, the second process).

        Raises nothing of the bench's: an instrument that is lost ends the run and is told in the results. Cancellation
        from outside and the journal's RecordError come out, with everything off."""
        self._main = asyncio.current_task()
        watch = self._bench.clock.spawn(self._bench.interlocks.watch(), "interlocks")
        watch.add_done_callback(self._unwatched)
        try:
            if self._stopping:  # a signal came first
                raise asyncio.CancelledError
            await prelude()
            await self._prove_off()
            for stage in self._plan.procedure.stages:
                await self._stage_with_pauses(stage)
        except RigError as error:
            await self._end()  # before anything is written down
            self._stop_at(self._bench.interlocks.breach or error)  # a step may fail first because all was dropped
        except BaseException:
            await self._end()
            if self._broken is None:
                raise
            self._stop_at(self._broken)
        else:
            await self._end()
        finally:
            watch.cancel()

    def break_off(self, error: RigError) -> None:
        """End the run from within: an interlock has dropped the outputs, or the second process is gone."""
        if self._broken is None:
            self._broken = error
            self._cancel()

    def _unwatched(self, watch: asyncio.Task[Any]) -> None:
        """A watch that ends by itself leaves nothing watched."""
        if not watch.cancelled():
            self.break_off(Stopped(f"the watch over the interlocks ended: {watch.exception()}", "", "interlocks"))

    def pause(self) -> None:
        """Turn everything off and ask a person before going on. Nothing that was measured is lost. Outside the stages
        nothing is on: the pause comes before the next one."""
        if not self._over and self._broken is None and not self._pausing:
            self._pausing = True
            if self._in_stage:
                self._cancel()

    def stop(self) -> None:
        """End the run from outside: a signal."""
        self._stopping = True
        self._cancel()

    def _cancel(self) -> None:
        """Cancel the run, unless it is turning everything off already: nothing comes between that and its end."""
        if self._main is not None and not self._making_safe:
            self._main.cancel()

    def interrupt(self, reason: str) -> None:
        """Write down that the run was broken off, for every step that had begun. Outputs are off by now."""
        self.reason = self._ended = reason
        self._close_open_steps(Verdict.STOPPED, reason)
        self._verdicts.append(Verdict.STOPPED)
        self._leave_out_the_rest()

    # on the way in and out

    async def _prove_off(self) -> None:
        report = await self._bench.outputs.all_off()
        if not report.confirmed:
            raise Stopped(
                f"before the start, not confirmed off: {', '.join(report.unconfirmed)}",
                "; ".join(report.why) or "Check relays, contactors and feedback wires before anything else.",
            )

    async def _end(self) -> None:
        self._main, self._over = None, True  # from here on nothing cancels this task: it turns off and writes down
        await self._make_all_safe()

    async def _make_all_safe(self) -> None:
        self._making_safe = True
        try:
            await self._turn_everything_off()
        finally:
            self._making_safe = False

    async def _turn_everything_off(self) -> None:
        this = asyncio.current_task()
        while this is not None and this.cancelling():
            this.uncancel()  # else every time limit below would count as another cancellation
        for task in [*self._tasks, *self._work.tasks]:
            task.cancel()
        report = await self._bench.outputs.all_off()
        self._bench.outputs.drive = "dead"
        self.all_off = report.confirmed
        notes = [*report.why, *self._bench.oddities()]
        if not report.confirmed and self.last_resort is not None:
            notes.append(_said_by_second(await self.last_resort()))
        for text in notes:
            self._emit(Noted(self._bench.time(), text))
        self._emit(AllOff(self._bench.time(), report.confirmed, report.unconfirmed))

    async def _stage_with_pauses(self, stage: Stage) -> None:
        """A stage that was paused begins anew: a stage begins dead, and proves again what it needs."""
        resumed = False
        while True:
            if self._pausing:
                await self._wait_paused(stage)
                resumed = True
            self._in_stage = True
            try:
                if resumed:
                    await self._work_through(stage, stage.after_pause, even_if_ended=True)
                    await self._prove_off()
                return await self._stage(stage)
            except asyncio.CancelledError:
                if not self._pausing or self._stopping or self._broken is not None:
                    raise
            finally:
                self._in_stage = False

    async def _wait_paused(self, stage: Stage) -> None:
        await self._make_all_safe()
        if self._stopping or self._broken is not None:
            raise asyncio.CancelledError
        self._close_open_steps(Verdict.NOT_RUN, "paused by a person; its stage began anew afterwards")
        if not self.all_off:
            raise Stopped(
                "was asked to pause, and cannot confirm that everything is off",
                "Do not touch the unit: use the hard-wired stop, then look at relays, contactors and feedback wires.",
            )
        self._bench.outputs.unproved()
        self._emit(Noted(self._bench.time(), f"paused: everything is off; the stage '{stage.title}' will begin anew"))
        await self._people.ask(resume_prompt(self._bench.time()), self._bench.time)
        self._pausing = False

    def _stop_at(self, error: RigError) -> None:
        text = error.sentence()
        verdict = Verdict.STOPPED if isinstance(error, Stopped) else Verdict.NO_READING
        self.reason = self._ended = text
        if not self._open:
            self._verdicts.append(verdict)
        self._close_open_steps(verdict, text)
        self._leave_out_the_rest()

    def _close_open_steps(self, verdict: Verdict, reason: str) -> None:
        for name in list(self._open):
            self._finish(name, Outcome(verdict, reason=reason), self._open[name], None)

    def _leave_out_the_rest(self) -> None:
        for stage in self._plan.procedure.stages:
            for step in stage.all_steps():
                self._leave_out(step, f"the run had ended: {self._ended}", only_new=True)

    # stages

    async def _stage(self, stage: Stage) -> None:
        why = self._ended or self._why_not(stage)
        if why is not None:
            for step in stage.all_steps():
                self._leave_out(step, why)
            return
        self._emit(StageStarted(self._bench.time(), stage.stage, stage.title, stage.drive, tuple(stage.cautions)))
        self._bench.outputs.drive = stage.drive
        await self._work_through(stage, [*stage.make_ready, *stage.steps])
        await self._make_safe()
        await self._work_through(stage, stage.make_safe, even_if_ended=True)
        await self._make_safe()

    async def _work_through(self, stage: Stage, steps: Sequence[Any], even_if_ended: bool = False) -> _Worked:
        """Do steps one after another."""
        left_out: str | None = None
        verdicts: list[Verdict] = []
        for step in steps:
            why = left_out or (None if even_if_ended else self._ended) or self._why_not(step)
            if why is not None:
                self._leave_out(step, why)
                continue
            verdict, left_out = await self._step(stage, step, even_if_ended)
            verdicts.append(verdict)
            _insist_on_cancellation()
            if left_out is None and self._is_bad(step, verdict) and step.after_bad != "carry on":
                left_out = f"{step.step} ended with {verdict}"
                if step.after_bad == "end":
                    self._ended = self.reason = left_out
        return _Worked(worst(verdicts), left_out)

    def _is_bad(self, step: Any, verdict: Verdict) -> bool:
        """Whether what ``after-bad`` says follows; also for a timing that gave up, where no limit judges it."""
        reading = self._results[step.step].reading if isinstance(step, Time) else None
        return verdict in BAD or (verdict is Verdict.NOT_EVALUATED and reading is not None and bool(reading.bound))

    async def _make_safe(self) -> None:
        """Turn off whatever the stage has left on, in the stated order, and go dead."""
        outputs = self._bench.outputs
        first = [o for o in self._plan.bench.all_off_order if o in outputs.on]
        on = list(dict.fromkeys([*first, *reversed(outputs.on)]))
        for output in on:
            await outputs.turn_off(output)
        if any(self._plan.bench.outputs[o].energizes in ("mains", "heater") for o in on):
            await self._bench.clock.sleep(CAPACITORS)
        outputs.drive = "dead"

    def _why_not(self, part: Conditional) -> str | None:
        """Why a step or a stage is not done, by what earlier steps came to; None where it is."""
        for when in part.conditions:
            result = self._results.get(when.step)
            if result is None or str(result.verdict) not in when.was:
                return f"only when {when.step} was {' or '.join(when.was)}"
        for name in part.needs:
            result = self._results.get(name)
            if result is None or not result.verdict.good:
                return f"needs {name}, which {_said(result)}"
        for name in part.after:
            result = self._results.get(name)
            if result is None or result.verdict == Verdict.NOT_RUN:
                return f"comes after {name}, which was not run"
        return None

    # steps

    async def _step(self, stage: Stage, step: Any, even_if_ended: bool) -> _Worked:
        if not isinstance(step, Repeat):
            return _Worked(await self._do(stage, step, None), None)
        verdicts: list[Verdict] = []
        for _ in range(step.repeat.times):
            verdict, left_out = await self._work_through(stage, step.repeat.steps, even_if_ended)
            verdicts.append(verdict)
            if left_out is not None:
                return _Worked(worst(verdicts), left_out)
        return _Worked(worst(verdicts), None)

    async def _do(self, stage: Stage, step: Any, beside: Beside | None) -> Verdict:
        started = self._bench.time()
        self._open[step.step] = started
        self._emit(StepStarted(started, step.step, stage.stage, _doing(step), step.minutes))
        try:
            outcome = await self._work.do(step, beside)
        except RECOVERABLE as error:
            outcome = Outcome(Verdict.NO_READING, reason=error.sentence())
        for text in self._bench.oddities():
            self._emit(Noted(self._bench.time(), text))
        return self._finish(step.step, outcome, started, self._limit_of(step))

    def _run_beside(self, steps: Sequence[Measure | Record | Ask], beside: Beside) -> list[asyncio.Task[Any]]:
        """Measurements and questions one after another, for they share the meter, or the person; each recording on its
        own."""
        clock, stage = self._bench.clock, self._stage_of(steps)
        if stage is None:
            return []
        measures = [s for s in steps if isinstance(s, (Measure, Ask)) or self._work.hand.takes(s)]
        lines: list[list[Measure | Record | Ask]] = [[s] for s in steps if s not in measures]
        if measures:
            lines.insert(0, list(measures))
        self._tasks = [clock.spawn(self._line(stage, line, beside), line[0].step) for line in lines]
        return self._tasks

    async def _line(self, stage: Stage, steps: Sequence[Any], beside: Beside) -> None:
        for step in steps:
            why = "the timing beside it had ended" if beside.over else self._why_not(step)
            if why is not None:
                self._leave_out(step, why)
                continue
            try:
                await self._do(stage, step, beside)
            except RigError as error:
                beside.error = beside.error or error
                return

    def _stage_of(self, steps: Sequence[Measure | Record | Ask]) -> Stage | None:
        for stage in self._plan.procedure.stages:
            for step in stage.all_steps():
                inner = step.repeat.steps if isinstance(step, Repeat) else [step]
                if any(isinstance(s, Time) and s.meanwhile is steps for s in inner):
                    return stage
        return None

    def _leave_out(self, step: Any, why: str, only_new: bool = False) -> None:
        for one in step.repeat.steps if isinstance(step, Repeat) else [step]:
            if not (only_new and one.step in self._results):
                self._finish(one.step, Outcome(Verdict.NOT_RUN, reason=why), self._bench.time(), self._limit_of(one))
            for beside in getattr(one, "meanwhile", []):
                self._leave_out(beside, why, only_new)

    def _limit_of(self, step: Any) -> Limit | None:
        return self._plan.limit(step) if getattr(step, "limit", None) is not None else None

    def _finish(self, name: str, outcome: Outcome, started: float, limit: Limit | None) -> Verdict:
        self._open.pop(name, None)
        attempt = self._attempts[name] = self._attempts.get(name, 0) + 1
        result = StepResult(
            name, outcome.verdict, outcome.reason, outcome.reading, limit, outcome.probability, outcome.bracket,
            started, self._bench.time(), outcome.answer, attempt, ratio_of(outcome.reading, limit),
        )  # fmt: skip
        self._results[name] = result
        self._bench.interlocks.confirm(name, outcome.verdict is Verdict.PASS)
        self._verdicts.append(outcome.verdict)
        self._emit(StepEnded(result.ended, result))
        return outcome.verdict


def _insist_on_cancellation() -> None:
    """A cancellation that some library has swallowed still ends the run. Raises CancelledError."""
    task = asyncio.current_task()
    if task is not None and task.cancelling():
        raise asyncio.CancelledError


def _said(result: StepResult | None) -> str:
    return "was not run" if result is None else f"was: {result.verdict}"


def _said_by_second(problems: tuple[str, ...] | None) -> str:
    if problems is None:
        return "the second process is gone and cannot help: use the hard-wired stop"
    if problems:
        return f"the second process, by its own way: {'; '.join(problems)}"
    return "the second process has dropped all boards by its own way, and reads them back off"


def _doing(step: Any) -> str:
    """What a step does, in a few words, for whoever watches."""
    if isinstance(step, Measure):
        return f"measure {step.measure} at {step.at}"
    if isinstance(step, Record):
        return f"record {', '.join(step.record)}"
    if isinstance(step, Time):
        return "time a change"
    word = type(step).__name__.lower()
    return "record a waveform" if word == "waveform" else word
