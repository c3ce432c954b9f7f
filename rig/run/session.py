"""One run from beginning to end: open the bench, run the plan, close everything, give back the record."""

from __future__ import annotations

import asyncio
import signal
import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from rig.bench.claim import claimed
from rig.bench.latch import latch, latch_paths
from rig.bench.opening import OpenBench, StationOrder, open_bench
from rig.bench.rollcall import RollCall, call_roll, refuse_calibration, refuse_mixed, refuse_out_of_calibration
from rig.bench.watchdogs import set_watchdogs
from rig.bench.watcher import Watcher, board_names
from rig.bench.wire_log import WireLog
from rig.errors import InputError, RecordError, RigError, Stopped
from rig.events import Event, Noted, RunEnded, RunRecord, RunStarted, StepEnded, StepResult
from rig.plan.plan import Plan
from rig.run.control import Control, Ending
from rig.run.engine import Engine
from rig.run.hand_prompts import refuse_not_by_hand, steps_by_hand
from rig.run.journal import Journal
from rig.run.people import People, Terminal, refuse_bad_answers
from rig.run.prompts import prompts_after_pause, prompts_of

SIGNALS = (signal.SIGINT, signal.SIGTERM, signal.SIGHUP, signal.SIGQUIT)


@dataclass(frozen=True)
class RunRequest:
    """What is asked of a run, apart from the plan."""

    run: str
    serial: str = ""
    job: str = ""
    by: str = ""
    faults: tuple[tuple[str, float], ...] = ()
    wire_faults: tuple[tuple[str, str, int | None], ...] = ()  # kind, instrument, for so many exchanges
    seed: int = 0
    lockstep: bool = True
    person: str = "auto"  # auto, terminal, simulated
    answers: Mapping[str, str] = field(default_factory=dict)
    by_hand: tuple[str, ...] = ()  # steps whose reading a person takes
    ask: Terminal | None = None
    report: Path | None = None  # where the second process writes what it had to do
    wall: Callable[[], datetime] = lambda: datetime.now(UTC)  # for dates on paper; nothing is timed by it
    wire_log: WireLog | None = None  # what is on the bench's wires is kept there
    played: Path | None = None  # the wire log that a bench of recorded answers plays back
    control: Control | None = None  # how another thread ends or pauses the run
    notes: tuple[str, ...] = ()  # what is to be known of it from its beginning on


def nothing(bench: OpenBench) -> None:
    """What is done with a bench that was opened, where nobody wants to see it."""


class _Recorder:
    """Where the events of a run go: first to the journal, then to whoever shows them."""

    def __init__(self, journal: Journal, listeners: Sequence[Callable[[Event], None]]) -> None:
        self._journal, self._listeners = journal, list(listeners)
        self.gone: Callable[[RigError], None] = lambda error: None  # told when a listener can show nothing more
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
        for listener in list(self._listeners):
            try:
                listener(event)
            except RigError:
                raise
            except Exception as fault:  # a closed pipe, a lost terminal: not worth an unwritten record
                self._listeners.remove(listener)
                what = f"the run can no longer be shown ({type(fault).__name__}: {fault})"
                self.gone(Stopped(what, "Look at what is on record: rig runs.", "screen"))
        if failed is not None:
            raise failed


def run_procedure(
    request: RunRequest,
    plan: Plan,
    listeners: Sequence[Callable[[Event], None]],
    journal_for: Callable[[str], Journal],
    opened: Callable[[OpenBench], None] = nothing,
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
    opened: Callable[[OpenBench], None] = nothing,
) -> RunRecord:
    """``run_procedure`` in a running loop. An end that ``request.control`` asks for while the bench is still being
    opened comes out as CancelledError; nothing was switched then."""
    refuse_without_people(request, plan)
    opening = asyncio.current_task()
    if request.control is not None and opening is not None:
        request.control.attach(lambda ending: _cancel(opening))
    recorder = _Recorder(journal_for(request.run), listeners)
    own = plan.bench.station is not None
    with claimed(plan.bench, plan.bench.links, own):
        second = Watcher.start(plan.bench)
        try:
            bench = await open_bench(plan.bench, _order(request, plan), recorder.emit, request.wire_log)
        except BaseException:
            second.kill()
            raise
        try:
            try:
                opened(bench)
                bench.live.meter.today = request.wall().date()
                roll = await call_roll(bench.live, bench.live.meter.today)
                refuse_mixed(plan.bench, roll)
                refuse_out_of_calibration(plan.bench, roll)
            except BaseException:
                second.kill()
                raise
            return await _Run(request, plan, bench, second, recorder, roll).go()
        finally:
            await bench.close()


def _cancel(task: asyncio.Task[Any]) -> None:
    task.cancel()


class _Run:
    """One run on an open bench, with the second process beside it and signals turned into a stop."""

    def __init__(
        self,
        request: RunRequest,
        plan: Plan,
        bench: OpenBench,
        second: Watcher,
        recorder: _Recorder,
        roll: Sequence[RollCall],
    ) -> None:
        self._request, self._plan, self._bench, self._second, self._recorder = request, plan, bench, second, recorder
        self._roll = roll
        self._ending: Ending | None = None
        terminal = request.ask if request.person != "simulated" else None
        self._people = People(bench.live.hands, request.answers, terminal, recorder.emit, request.by)
        self._engine = Engine(plan, bench.live, self._people, recorder.emit, request.by_hand)
        bench.live.interlocks.latches = self._latch
        recorder.gone = self._engine.break_off

    async def go(self) -> RunRecord:
        """Run, and close the record whatever happens. Raises RecordError, and whatever is no business of the bench's,
        with everything off and the end on record."""
        began = time.perf_counter()
        started = _started(self._request, self._plan)
        loop = asyncio.get_running_loop()
        handled = _handle(loop, self._stop, self._engine.pause)
        if self._request.control is not None:
            self._request.control.attach(self._end, self._engine.pause)
        try:
            self._recorder.emit(started)
            await self._guarded()
        except asyncio.CancelledError:
            if self._ending is None:
                raise
            self._engine.interrupt(self._ending.why)
        except Exception as error:
            if not isinstance(error, RecordError):
                self._engine.interrupt(f"the program failed: {type(error).__name__}: {error}")
                self._recorder.emit(self._ended(began))
            raise
        finally:
            for number in handled:
                loop.remove_signal_handler(number)
        ended = self._ended(began)
        if self._recorder.lost is not None:
            raise self._recorder.lost
        self._recorder.emit(ended)
        return RunRecord(started, tuple(self._recorder.steps), ended)

    async def _guarded(self) -> None:
        live, engine, second = self._bench.live, self._engine, self._second
        try:
            await engine.run(self._prelude)
        finally:
            await second.finish(engine.all_off)
            if not engine.all_off and live.interlocks.latched is None:
                self._latch("an output was not confirmed off")

    def _latch(self, why: str) -> None:
        """Leave it on the bench at once, for this process may be the next to die. A station of one's own is made anew
        for every run, and has none."""
        if self._plan.bench.station is not None:
            return
        try:
            latch(self._plan.bench, why)
        except (RecordError, InputError) as error:
            self._recorder.emit(Noted(self._bench.live.time(), error.sentence()))

    async def _prelude(self) -> None:
        """What the roll call found, the boards' own watchdogs, and the second process."""
        live, engine, second = self._bench.live, self._engine, self._second
        notes = list(self._request.notes)
        notes += [f"roll call: {e.name} {e.says}; its calibration does not count" for e in self._roll if not e.ok]
        live.void = refuse_calibration(self._roll)
        for text in notes + await set_watchdogs(self._plan.bench, live.instruments):
            self._recorder.emit(Noted(live.time(), text))
        if not board_names(self._plan.bench):
            self._recorder.emit(Noted(live.time(), "a person switches every output: no second process can drop them"))
            return
        second.lost = engine.break_off
        engine.last_resort = self._by_the_second
        live.interlocks.alive = self._people.waiting = second.beat
        own = self._plan.bench.station is not None
        paths = [] if own else latch_paths(self._plan.bench)
        live.outputs.guarded = asyncio.ensure_future(second.arm(self._bench.links, own, self._request.report, paths))

    async def _by_the_second(self) -> tuple[str, ...] | None:
        """Have the second process drop all boards; a serial port is held by one process at a time, so it is let go."""
        if any(link.protocol == "modbus-rtu" for link in self._plan.bench.links.values()):
            for instrument in self._bench.live.instruments.values():
                await instrument.close()
        return await self._second.drop()

    def _stop(self, number: int) -> None:
        self._end(Ending(f"ended by {signal.Signals(number).name}", number))

    def _end(self, ending: Ending) -> None:
        if self._ending is None:
            self._ending = ending
            self._engine.stop()

    def _ended(self, began: float) -> RunEnded:
        at, engine = self._bench.live.time(), self._engine
        wall = time.perf_counter() - began
        number = None if self._ending is None else self._ending.signal
        return RunEnded(at, engine.verdict, engine.reason, engine.all_off, at, wall, number)


def _handle(loop: asyncio.AbstractEventLoop, stop: Callable[[int], None], pause: Callable[[], None]) -> list[int]:
    """Signals that end the run, and the one that pauses it (Ctrl-Z): outputs go off before anything else."""
    handled: list[int] = []
    for number in (*SIGNALS, signal.SIGTSTP):
        try:
            if number == signal.SIGTSTP:
                loop.add_signal_handler(number, pause)
            else:
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
        wire_faults=tuple(f"{k}@{i}" + ("" if n is None else f"={n}") for k, i, n in request.wire_faults),
        utc=request.wall().astimezone(UTC).isoformat(timespec="milliseconds"),
        steps=plan.step_count(),
        minutes=plan.minutes(),
        answered_by=_answered_by(request, plan),
    )


def _order(request: RunRequest, plan: Plan) -> StationOrder:
    faults, wire_faults = request.faults, request.wire_faults
    return StationOrder(_unit(plan), faults, request.seed, request.lockstep, wire_faults, request.played)


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
    refuse_not_by_hand(plan, request.by_hand)
    if steps_by_hand(plan, request.by_hand) and not request.by and not _has_hands(plan):
        raise InputError("a reading by hand is kept with the name of who took it", "Give --by NAME.", "--by-hand")
    terminal = request.ask is not None and request.person != "simulated"
    refuse_bad_answers(prompts_of(plan, request.by_hand), request.answers, not terminal and not _has_hands(plan))
    refuse_bad_answers(prompts_after_pause(plan), request.answers, nobody_else=False)
