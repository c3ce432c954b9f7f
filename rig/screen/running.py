"""A run in a thread of its own: what happens comes out through a queue, what is wanted goes in through ``Control``.

The run does not know that there is a screen. It outlives the screen: whoever leaves asks for its end and waits until
everything is off."""

from __future__ import annotations

import asyncio
import queue
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from rig.cli.performing import Prepared, Wanted, carry_out, prepare, run_facts
from rig.cli.who import TYPED
from rig.errors import InputError
from rig.events import AllOff, Event, RunEnded, RunRecord
from rig.run.control import Control
from rig.screen.answers import Answers
from rig.screen.pace import Pace
from rig.screen.seen import BenchSeen, look_at
from rig.screen.tape import Tape

if TYPE_CHECKING:
    from rig.bench.opening import OpenBench

LOOK_EVERY = 0.2  # s of wall time between two looks at what was read back
SIMULATED = "simulated"


@dataclass(frozen=True)
class Ready:
    """The plan is proved; nothing is energized yet."""

    prepared: Prepared


@dataclass(frozen=True)
class Over:
    """The thread has ended: with the record, with what went wrong, or with neither where it was called off before
    anything was switched."""

    record: RunRecord | None = None
    fault: BaseException | None = None


Told = Event | BenchSeen | Ready | Over


class Running:
    """One run. ``told`` is the queue that the screen empties."""

    def __init__(self, wanted: Wanted, pin: str, speed: float, tape: Tape | None = None) -> None:
        self.wanted = wanted
        self.told: queue.SimpleQueue[Told] = queue.SimpleQueue()
        self.control = Control()
        self.answers = Answers()
        self.pace = Pace(speed)
        self._bench: OpenBench | None = None  # once it is open
        self._pin, self._tape = pin, tape
        self._thread = threading.Thread(target=self._work, name="run")
        self._looking: asyncio.Task[None] | None = None

    def start(self) -> None:
        """Begin. Nothing is raised: what goes wrong comes through the queue."""
        self._thread.start()

    @property
    def alive(self) -> bool:
        """Whether anything may still be on by this run."""
        return self._thread.is_alive()

    def end(self, why: str, signal: int | None = None) -> None:
        """Everything off, now, and the record closed. Safe from a signal handler."""
        self.pace.let_go()
        self.control.end(why, signal)

    def pause(self) -> None:
        """Everything off, then a question before it goes on."""
        self.control.pause()

    @property
    def station(self) -> Any:
        """The simulated bench's station, once it is open; None on another bench."""
        return None if self._bench is None else self._bench.station

    def join(self, patience: float | None = None) -> bool:
        """Wait for the end; whether it has come."""
        self._thread.join(patience)
        return not self._thread.is_alive()

    def set_fault(self, name: str, severity: float, refused: Callable[[str], None]) -> None:
        """Put a fault into the simulated unit, or take it out (0), now, and have the record say so; ``refused`` is told
        in the run's thread why this cannot be."""
        self._alter(
            lambda station: station.set_fault(name, severity),
            f"fault {name} of the simulated unit was set to {severity:g} while the run went on",
            refused,
        )

    def set_wire_fault(self, kind: str, instrument: str, put_in: bool, refused: Callable[[str], None]) -> None:
        """Let the wire of a simulated instrument lie from now on, or be honest again, and have the record say so;
        ``refused`` as with ``set_fault``."""
        done = "put in" if put_in else "taken out"
        self._alter(
            lambda station: (station.misbehave if put_in else station.behave)(kind, instrument),
            f"fault {kind} of the wire of simulated {instrument} was {done} while the run went on",
            refused,
        )

    def _alter(self, how: Callable[[Any], object], told: str, refused: Callable[[str], None]) -> None:
        """Change the simulated station in the run's thread, where there is one; the record is told."""
        bench, station = self._bench, self.station
        if bench is None or station is None:
            return

        def act() -> None:
            try:
                how(station)
                bench.live.tell(told)
            except ValueError as why:
                refused(str(why))

        self.control.call(act)

    # in the run's thread

    def _work(self) -> None:
        over = Over()
        try:
            over = Over(self._carried_out())
        except asyncio.CancelledError:
            pass  # called off while the bench was being opened
        except BaseException as fault:  # it must be told, and the thread must end
            over = Over(fault=fault)
        finally:
            self.answers.withdraw()
            self.pace.let_go()
            self.told.put(over)

    def _carried_out(self) -> RunRecord:
        from rig.records.store import Store

        TYPED.set(self._pin)
        asked = None if self.wanted.person == SIMULATED else self.answers
        prepared = prepare(self.wanted, asked, self.control)
        self.told.put(Ready(prepared))
        with Store.open(self.wanted.store) as records:
            records.mark_interrupted()
            facts = run_facts(prepared, records)
            log = None if self._tape is None else self._tape.log()
            return carry_out(prepared, records, facts, [self.answers.take, self._listen], self._opened, log)

    def _listen(self, event: Event) -> None:
        if isinstance(event, RunEnded):
            self.pace.let_go()
        if isinstance(event, AllOff) and self._bench is not None:
            self.told.put(look_at(self._bench.live, time.monotonic()))  # perhaps the last: what was on is seen off
        self.told.put(event)

    def _opened(self, bench: OpenBench) -> None:
        """The bench is open and nothing is switched: look at it from now on, and hold its time back."""
        self._bench = bench
        if bench.station is not None:
            if self.wanted.pace == "real":
                raise InputError("the screen holds a simulated bench back by itself", "Leave --pace out.", "--pace")
            bench.live.clock.spawn(self.pace.keep(bench.live.clock), "pace")
        self._looking = asyncio.ensure_future(self._look(bench))

    async def _look(self, bench: OpenBench) -> None:
        """Beside the bench's clock, not on it: nothing is asked on the wire."""
        while True:
            self.told.put(look_at(bench.live, time.monotonic()))
            await asyncio.sleep(LOOK_EVERY)
