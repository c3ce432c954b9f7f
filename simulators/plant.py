"""One unit in its fixture: no bytes, no sockets, no instrument's error. Plain floats in, plain floats out.

Time runs on a fixed grid of TICK seconds. A step may span several ticks while little happens, but how many is
decided by the state and the grid alone, never by when somebody asks: polling cannot change what comes out.
"""

from collections.abc import Mapping, Sequence
from math import ceil, floor
from random import Random
from time import perf_counter

from simulators.fixture import Fixture
from simulators.hand import HandTools
from simulators.names import NotPossible, UnknownName
from simulators.person import Answer, Person
from simulators.terminals import Terminals
from simulators.unit.faults import FAULTS, Fault, find
from simulators.unit.loose import DUTY, MARK, PERIOD, Loose
from simulators.unit.making import MODELS
from simulators.unit.models import Model
from simulators.unit.unit import Unit

__all__ = ["FAULTS", "TICK", "Fault", "NotPossible", "Plant", "UnknownName"]

TICK = 0.02  # s
SLACK = 1e-6  # of a tick: a time within this of a grid point is that point
SECOND = 50  # ticks between two draws of the mains' wander and of the noise in the unit's own sensors


class Plant:
    """A unit on the bench, from a seed, or the given `model`.

    Raises UnknownName or NotPossible for words it cannot honour.
    """

    def __init__(
        self,
        unit: str = "demo-18-dc",
        seed: int = 0,
        faults: Mapping[str, float] | None = None,
        model: Model | None = None,
    ) -> None:
        if unit not in MODELS:
            raise UnknownName("unit", unit, MODELS)
        self.unit = Unit(model or MODELS[unit](seed))
        self.abuses: list[str] = []
        self.physics_seconds = 0.0
        self.now = 0.0
        self._tick = 0
        self._mains = Random(f"{seed}/mains")
        self._own = Random(f"{seed}/the unit's own sensors")
        self.fixture = Fixture(self.unit, self.abuses, seed)
        self.terminals = Terminals(self.unit, self.fixture, seed)
        self._tools = HandTools(self.unit, self.fixture, self.terminals, seed, self.set_coil)
        self._person = Person(self.unit, self.fixture, self._tools, seed)
        self._loose: dict[str, Loose] = {}
        self._seed = seed
        for name, severity in (faults or {}).items():
            self.set_fault(name, severity)

    # ---- time ---------------------------------------------------------------------------------------------

    def advance(self, now: float) -> None:
        """Bring the physics to `now` s. A time before the present is ignored: it never goes back."""
        if now <= self.now:
            return
        self.now = now
        began = perf_counter()
        self._run(floor(now / TICK + SLACK), whole=True)
        self.physics_seconds += perf_counter() - began

    def _run(self, target: int, whole: bool) -> None:
        """Step to tick `target`; with `whole` a long step that would overshoot waits for a later call."""
        unit, fixture = self.unit, self.fixture
        while self._tick < target:
            stride = unit.pace()
            end = self._tick - self._tick % stride + stride
            due = fixture.next_change()
            if self._loose:
                changes = min(one.due for one in self._loose.values())
                due = changes if due is None else min(due, changes)
            if due is not None and due < end:
                end = max(due, self._tick + 1)
            if end > target:
                if whole:
                    return
                end = target
            self._step(end)

    def _step(self, end: int) -> None:
        unit = self.unit
        unit.now = self._tick * TICK
        unit.step((end - self._tick) * TICK)
        if end // SECOND != self._tick // SECOND:
            circuits = unit.circuits
            circuits.wander += 0.05 * (1.0 - circuits.wander) + self._mains.gauss(0.0, 2.5e-4)
            unit.sensors.noise = (self._own.gauss(0.0, 1.0), self._own.gauss(0.0, 1.0))
        self._tick = end
        unit.now = end * TICK
        for one in self._loose.values():
            while one.due <= end:
                unit.set_fault(one.name, one.change())
                unit.stirred = True
        self.fixture.follow(end)
        self.fixture.watch()
        self._tools.look()

    def _settle(self) -> None:
        """Bring everything to the present tick, because something is about to be changed by hand."""
        began = perf_counter()
        self._run(floor(self.now / TICK + SLACK), whole=False)
        self.unit.stirred = True
        self.physics_seconds += perf_counter() - began

    # ---- the wires ----------------------------------------------------------------------------------------

    def set_coil(self, board: int, channel: int, on: bool) -> None:
        """Drive a relay's coil now; its contacts follow after one to two ticks. Raises UnknownName."""
        self.fixture.drive(board, channel, on, ceil(self.now / TICK - SLACK) + 1)

    def hold_contact(self, board: int, channel: int, contact: bool | None, mirror: bool | None) -> None:
        """A relay fails, now: its contact and its mirror contact stay as given, None as they should be.

        A board without mirror contacts has none to hold. Raises UnknownName.
        """
        self._settle()
        self.fixture.hold(board, channel, contact, mirror)
        self.fixture.watch()

    def contacts(self, board: int) -> list[bool]:
        """The contacts of a relay board as they stand. Raises UnknownName."""
        return self.fixture.contacts(board)

    def coils(self, board: int) -> list[bool]:
        """The coils of a relay board as driven. Raises UnknownName."""
        return self.fixture.driven(board)

    def inputs(self) -> list[bool]:
        """The 24 discrete inputs."""
        return self.fixture.inputs()

    def quantity(self, channel: int) -> float:
        """True value of an analog channel: Cel, Pa, A, V or g. Raises UnknownName beyond the 12 channels."""
        return self.fixture.quantity(channel)

    def socket(self) -> tuple[float, float, float]:
        """What the bench's socket carries now: true volts, amps into the unit, hertz."""
        circuits = self.unit.circuits
        return circuits.mains_volts, circuits.supply_amps(), self.unit.model.place.supply.hertz

    def meter_sees(self, function: str) -> float:
        """True value at the meter's terminals: V, Ohm (inf for open), A, Hz. Raises UnknownName."""
        return self.terminals.sees(function)

    def meter_waveform(self, start: float, interval: float, count: int) -> list[float]:
        """Volts at the meter's terminals at start + k*interval s, none of them after the present."""
        return self.terminals.waveform(start, interval, count)

    # ---- hands --------------------------------------------------------------------------------------------

    def person(self, verb: str, thing: str, kind: str, options: Sequence[str], unit: str) -> tuple[Answer, float]:
        """Somebody does or looks, now. Returns the answer (a number in `unit`) and the seconds it took."""
        self._settle()
        answer = self._person.does(verb, thing, kind, options, unit)
        self.fixture.watch()
        return answer

    def set_fault(self, name: str, severity: float, duty: float = DUTY, period: float = PERIOD) -> None:
        """A fault in, changed, or out (0), now. `NAME~` comes and goes: there for `duty` of the time, every `period` s.

        Raises UnknownName, NotPossible or ValueError.
        """
        self._settle()
        plain = name.removesuffix(MARK)
        loose = self._loose.pop(plain, None)
        if plain == name:
            self.unit.set_fault(name, severity)
            return
        if find(plain, self.unit.model.name).arrive is not None:
            raise ValueError(f"{plain} does not come and go by itself: it is a state that somebody brings about")
        self.unit.set_fault(plain, severity)  # refuses what cannot be, before anything is drawn
        self.unit.set_fault(plain, 0.0)
        if severity > 0.0:
            stream = loose.stream if loose else Random(f"{self._seed}/loose/{plain}")
            self._loose[plain] = Loose(plain, severity, duty, period, stream)
            self._loose[plain].begin(self._tick)
