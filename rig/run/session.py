"""One run from beginning to end: open the bench, run the plan, close everything, give back the record."""

from __future__ import annotations

import asyncio
import signal
import time
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime

from rig.bench.opening import OpenBench, StationOrder, open_bench
from rig.bench.rollcall import call_roll
from rig.errors import InputError, RecordError
from rig.events import Event, Noted, Prompted, RunEnded, RunRecord, RunStarted, StepEnded, StepResult
from rig.plan.plan import Plan
from rig.plan.procedure import Ask, Repeat, StartByPerson, Time
from rig.run.engine import Engine
from rig.run.journal import Journal
from rig.run.people import People, Terminal, prompt_of, refuse_bad_answers

SIGNALS = (signal.SIGINT, signal.SIGTERM, signal.SIGHUP, signal.SIGQUIT)


@dataclass(frozen=True)
class RunRequest:
    """What is asked of a run, apart from the plan."""

    run: str
    serial: str = ""
    job: str = ""
    by: str = ""
    faults: tuple[tuple[str, float], ...] = ()
    seed: int = 0
    lockstep: bool = True
    person: str = "auto"  # auto, terminal, simulated
    answers: Mapping[str, str] = field(default_factory=dict)
    ask: Terminal | None = None


class _Recorder:
    """Where the events of a run go: first to the journal, then to whoever shows them."""

    def __init__(self, journal: Journal, listeners: Sequence[Callable[[Event], None]]) -> None:
        self._journal, self._listeners = journal, listeners
        self.steps: list[StepResult] = []
        self.journal_seconds = 0.0
        self.lost: RecordError | None = None

    def emit(self, event: Event) -> None:
        """Keep an event, then show it. Raises RecordError once: what follows a lost store is shown only."""
        if isinstance(event, StepEnded):
            self.steps.append(event.result)
        failed = None
        if self.lost is None:
            began = time.perf_counter()
            try:
                self._journal.record(event)
            except RecordError as error:
                failed = self.lost = error
            self.journal_seconds += time.perf_counter() - began
        for listener in self._listeners:
            listener(event)
        if failed is not None:
            raise failed


def run_procedure(
    request: RunRequest,
    plan: Plan,
    listeners: Sequence[Callable[[Event], None]],
    journal_for: Callable[[str], Journal],
    opened: Callable[[OpenBench], None] = lambda bench: None,
) -> RunRecord:
    """Run a plan; ``opened`` is shown the bench before anything is switched.

    Raises InputError before anything is energized (bench, faults, answers), and RecordError, with everything off, when
    the store cannot keep what happened."""
    return asyncio.run(run_async(request, plan, listeners, journal_for, opened))


async def run_async(
    request: RunRequest,
    plan: Plan,
    listeners: Sequence[Callable[[Event], None]],
    journal_for: Callable[[str], Journal],
    opened: Callable[[OpenBench], None] = lambda bench: None,
) -> RunRecord:
    """``run_procedure`` in a running loop."""
    refuse_without_people(request, plan)
    recorder = _Recorder(journal_for(request.run), listeners)
    began = time.perf_counter()
    order = StationOrder(_unit(plan), request.faults, request.seed, request.lockstep)
    bench = await open_bench(plan.bench, order, recorder.emit)
    try:
        opened(bench)
        started = _started(request, plan)
        recorder.emit(started)
        engine, signalled = await _run(request, plan, bench, recorder)
        at, wall = bench.live.time(), time.perf_counter() - began
        ended = RunEnded(at, engine.verdict, engine.reason, engine.all_off, at, wall, signalled)
        if recorder.lost is not None:
            raise recorder.lost
        recorder.emit(ended)
        return RunRecord(started, tuple(recorder.steps), ended)
    finally:
        await bench.close()


async def _run(request: RunRequest, plan: Plan, bench: OpenBench, recorder: _Recorder) -> tuple[Engine, int | None]:
    """The engine's part, with signals turned into a stop: outputs first, then the record."""
    terminal = request.ask if request.person != "simulated" else None
    hands = bench.live.hands
    people = People(hands, request.answers, terminal, recorder.emit)
    engine = Engine(plan, bench.live, people, recorder.emit)
    signalled: list[int] = []
    work = asyncio.current_task()
    assert work is not None

    def stop(number: int) -> None:
        if not signalled:
            signalled.append(number)
            work.cancel()

    loop = asyncio.get_running_loop()
    handled = _handle(loop, stop)
    try:
        for entry in await call_roll(bench.live):
            if not entry.ok:
                recorder.emit(Noted(bench.live.time(), f"roll call: {entry.name} {entry.says}"))
        await engine.run()
    except asyncio.CancelledError:
        if not signalled:
            raise
        engine.interrupt(f"ended by {signal.Signals(signalled[0]).name}")
    finally:
        for number in handled:
            loop.remove_signal_handler(number)
    return engine, signalled[0] if signalled else None


def _handle(loop: asyncio.AbstractEventLoop, stop: Callable[[int], None]) -> list[int]:
    handled: list[int] = []
    for number in SIGNALS:
        try:
            loop.add_signal_handler(number, stop, int(number))
        except (RuntimeError, ValueError):  # not the main thread: whoever owns that one stops the run
            return handled
        handled.append(int(number))
    return handled


def _started(request: RunRequest, plan: Plan) -> RunStarted:
    bench, procedure = plan.bench, plan.procedure
    return RunStarted(
        at=0.0,
        run=request.run,
        procedure=procedure.procedure,
        revision=procedure.revision,
        unit=_unit(plan),
        serial=request.serial,
        bench=bench.bench,
        simulated=bench.simulated,
        by=request.by,
        job=request.job,
        seed=request.seed if bench.station is not None else None,
        faults=request.faults,
        utc=datetime.now(UTC).isoformat(timespec="milliseconds"),
        steps=plan.step_count(),
        minutes=plan.minutes(),
        answered_by=_answered_by(request, plan),
    )


def _unit(plan: Plan) -> str:
    return plan.profile.unit_profile if plan.profile is not None else ""


def _answered_by(request: RunRequest, plan: Plan) -> str:
    who = []
    if request.answers:
        who.append("prepared answers")
    if request.ask is not None and request.person != "simulated":
        who.append("terminal")
    elif _has_hands(plan):
        who.append("simulated person")
    return ", ".join(who)


def _has_hands(plan: Plan) -> bool:
    return any(link.protocol == "person" for link in plan.bench.links.values())


def refuse_without_people(request: RunRequest, plan: Plan) -> None:
    """Raises InputError for prepared answers that do not do, and when there are prompts that nobody will answer."""
    if request.person == "simulated" and not _has_hands(plan):
        raise InputError(f"bench {plan.bench.bench} has no simulated person", "Use --person terminal.")
    if request.person == "terminal" and request.ask is None:
        raise InputError("there is no terminal to ask at", "Use --answers FILE, or run it at a terminal.")
    terminal = request.ask is not None and request.person != "simulated"
    refuse_bad_answers(prompts_of(plan), request.answers, not terminal and not _has_hands(plan))


def prompts_of(plan: Plan) -> Iterable[Prompted]:
    """Every prompt that the plan can make, by the name under which an answer is prepared."""
    for stage in plan.procedure.stages:
        for step in stage.all_steps():
            for one in step.repeat.steps if isinstance(step, Repeat) else [step]:
                if isinstance(one, Ask):
                    yield prompt_of(one.step, one, "", 0.0)
                elif isinstance(one, Time) and isinstance(one.start, StartByPerson):
                    yield prompt_of(one.step, one.start, "", 0.0)
