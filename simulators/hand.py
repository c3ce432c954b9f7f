"""What the simulated person does with instruments of their own: leads put on by hand, a stop-watch, the panel's
switches. The accuracies are invented with the demonstration; the readings come out as a person would type them.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from math import inf
from random import Random

from simulators.fixture import RELAYS, SELECTORS, Fixture
from simulators.terminals import Terminals
from simulators.unit.unit import Unit

METER, WATCH = "hand meter SIM-HM-1", "stop-watch SIM-S1"
# What is read where no leads are put on.
GAUGES = {"Cel": "thermometer SIM-HM-4", "Pa": "gauge SIM-HM-5", "g": "scale SIM-HM-6", "W.h": "energy meter SIM-HM-7"}
# s for a reading with leads put on, at a gauge that hangs there, for a switch, a look at what has not happened yet
READS, GLANCES, SWITCHES, LOOKS_ON = 12.0, 3.0, 2.0, 1.0
LATE = 0.2  # s that the hand at the stop-watch is early or late at most
DIALS = 30.0  # s that a person goes on waiting for a start, beyond what they were told
OPEN = 1e7  # Ohm above which the hand meter shows that it sees nothing

# The bench's names for channels and contacts, as its wiring table has them.
QUANTITIES: dict[str, tuple[int, str]] = {
    "chamber-temperature": (0, "Cel"),
    "vent-temperature": (2, "Cel"),
    "ambient-temperature": (3, "Cel"),
    "chamber-pressure": (4, "Pa"),
    "chamber-pressure-low": (5, "Pa"),
    "heater-current": (6, "A"),
    "mains-voltage": (7, "V"),
    "jug-mass": (8, "g"),
    "unit-current": (9, "A"),
}
OUTPUTS = {
    "mains": 0, "heater-enable": 1, "fill-to-bench": 2, "fill-feed": 3, "bus-dc24": 6, "bus-ac24": 7, "dummy-load": 9,
    "air-dump": 10, "level-sub-47k": 11, "level-sub-1m": 12, "level-lift": 13, "air-supply": 14, "lamp-red": 17,
    "time-relay": 18,
}  # fmt: skip
INPUTS = {
    "estop": 12, "lid": 13, "unit-door": 15, "level-probe": 16, "fill-drive": 17, "heat-demand": 18,
    "level-relay": 20, "door-locked": 21, "time-relay-contact": 23,
}  # fmt: skip
ENERGY = "socket-energy"  # of the person's own meter between socket and plug
# The words of procedures for what the plant calls its functions, and the unit of what comes out.
FUNCTIONS = {
    "DC volts": ("volts-dc", "V"),
    "AC volts": ("volts-ac", "V"),
    "DC amps": ("amps-dc", "A"),
    "AC amps": ("amps-ac", "A"),
    "resistance": ("ohms-2w", "Ohm"),
    "resistance four-wire": ("ohms-4w", "Ohm"),
    "continuity": ("ohms-2w", "Ohm"),
    "diode": ("diode", "V"),
}
# Limit of error of the person's instruments: share of the reading, and a fixed part in the unit.
ACCURACY = {
    "V": (0.005, 0.005),
    "A": (0.01, 0.001),
    "Ohm": (0.003, 0.002),
    "Cel": (0.0, 0.2),
    "Pa": (0.002, 20.0),
    "g": (0.0, 1.0),
    "W.h": (0.002, 0.02),
}


@dataclass
class _Watch:
    """A stop-watch in the hand: between which edges it runs, how long its owner waits, and what it has seen."""

    begins: str
    ends: str
    start_within: float
    give_up: float
    armed: float
    was: tuple[bool, bool]
    began: float | None = None
    ended: float | None = None
    told: bool = False


class HandTools:
    """The person's instruments. ``set_coil`` throws a switch of the panel: board, channel, on."""

    def __init__(
        self,
        unit: Unit,
        fixture: Fixture,
        terminals: Terminals,
        seed: int,
        set_coil: Callable[[int, int, bool], None],
    ) -> None:
        self._unit, self._fixture, self._terminals, self._set_coil = unit, fixture, terminals, set_coil
        self._hand = Random(f"{seed}/hand tools")
        self._gain = {code: 2.0 * self._hand.random() - 1.0 for code in ACCURACY}
        self._watch: _Watch | None = None
        self._joules = self._metered = 0.0  # through the meter at the socket, and until when

    def knows(self, thing: str, kind: str) -> bool:
        """Whether this is for the person's own instruments."""
        return kind in ("reading", "stop-watch") or thing in ("stop-watch", "all-off") or thing.startswith("switch-")

    def does(self, thing: str, options: Sequence[str]) -> tuple[bool | str | None, float]:
        """The answer and the seconds it took; None while there is nothing to tell yet, or ever."""
        if thing == "stop-watch":
            return self._stop_watch(options)
        if thing == "all-off":
            for board in (RELAYS, SELECTORS):
                for channel, on in enumerate(self._fixture.driven(board)):
                    if on:
                        self._set_coil(board, channel, False)
            return True, SWITCHES
        if thing.startswith("switch-"):
            return self._switch(thing)
        return self._read(thing, options[0] if options else ""), GLANCES if thing in QUANTITIES else READS

    # ---- reading ------------------------------------------------------------------------------------------

    def _read(self, thing: str, what: str) -> str | None:
        if thing == ENERGY and what == "energy":
            return self._shown(self._joules / 3600.0, "W.h")
        if thing in QUANTITIES and what not in ("highest", "lowest", "mean", "slope"):  # nobody watched it
            channel, code = QUANTITIES[thing]
            return self._shown(self._fixture.quantity(channel), code)
        if what not in FUNCTIONS:
            return None
        function, code = FUNCTIONS[what]
        value = self._terminals.at(thing, function)
        return None if value is None else self._shown(value, code)

    def _shown(self, value: float, code: str) -> str:
        if value == inf or (code == "Ohm" and value > OPEN):
            return f"more than {'10 MOhm' if code == 'Ohm' else f'4 {code}'} with {METER}"
        share, fixed = ACCURACY[code]
        off_by = share * abs(value) + fixed
        read = value + 0.6 * self._gain[code] * off_by
        said = f"{read:.1f}" if code == "g" else f"{read:.5g}"
        return f"{said} {code} ± {off_by:.2g} {'K' if code == 'Cel' else code} with {GAUGES.get(code, METER)}"

    # ---- switching ----------------------------------------------------------------------------------------

    def _switch(self, thing: str) -> tuple[bool | None, float]:
        name, _, state = thing.removeprefix("switch-").rpartition("-")
        if name not in OUTPUTS or state not in ("on", "off"):
            return None, SWITCHES
        self._set_coil(RELAYS, OUTPUTS[name], state == "on")
        return True, SWITCHES

    # ---- the stop-watch -----------------------------------------------------------------------------------

    def look(self) -> None:
        """What a person with a stop-watch in the hand sees now; called at every step. The socket's meter counts."""
        if self._unit.joined.mains:
            circuits = self._unit.circuits
            self._joules += circuits.mains_volts * circuits.supply_amps() * (self._unit.now - self._metered)
        self._metered = self._unit.now
        watch = self._watch
        if watch is None or watch.told or watch.ended is not None:
            return
        now, is_so = self._unit.now, (self._is_so(watch.begins), self._is_so(watch.ends))
        if watch.began is None and is_so[0] and not watch.was[0]:
            watch.began = now
        elif watch.began is not None and is_so[1] and not watch.was[1]:
            watch.ended = now
        watch.was = is_so

    def _stop_watch(self, options: Sequence[str]) -> tuple[bool | str | None, float]:
        """Taken in the hand when it is first asked for; read off, or not yet, when it is asked for again."""
        begins, ends = options[0], options[1]
        now, watch = self._unit.now, self._watch
        if watch is None or watch.told or (watch.begins, watch.ends) != (begins, ends):
            was = (self._is_so(begins), self._is_so(ends))
            self._watch = _Watch(begins, ends, float(options[2]), float(options[3]), now, was)
            return True, SWITCHES
        answer = self._read_off(watch, now)
        watch.told = answer is not None
        return answer, LOOKS_ON

    def _read_off(self, watch: _Watch, now: float) -> str | None:
        if watch.began is not None and watch.ended is not None:
            late = (self._hand.uniform(-LATE, LATE), self._hand.uniform(-LATE, LATE))
            return f"{max(0.0, watch.ended - watch.began + late[1] - late[0]):.1f} s with {WATCH}"
        if watch.began is None:
            return "never began" if now - watch.armed > watch.start_within + DIALS else None
        return f"more than {watch.give_up:g} s with {WATCH}" if now - watch.began > watch.give_up else None

    def _is_so(self, edge: str) -> bool:
        """``INPUT closed``, ``OUTPUT on``, ``QUANTITY up-to NUMBER`` and their opposites; of others, never."""
        name, what, number = (*edge.split(" "), "")[:3]
        if name in INPUTS:
            return self._fixture.inputs()[INPUTS[name]] == (what == "closed")
        if name in OUTPUTS:
            return self._fixture.closed(OUTPUTS[name]) == (what == "on")
        if name in QUANTITIES:
            value, wanted = self._fixture.quantity(QUANTITIES[name][0]), float(number)
            return value >= wanted if what == "up-to" else value <= wanted
        return False
