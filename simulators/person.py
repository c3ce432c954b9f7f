"""The person at the bench, simulated: looks, does, measures by hand, consistently with the unit as it is."""

from collections.abc import Callable, Sequence
from random import Random

from simulators.fixture import Fixture
from simulators.hand import HandTools
from simulators.handwork import Handwork
from simulators.looks import Looks
from simulators.unit.electrics import insulation_at
from simulators.unit.unit import Unit

Answer = bool | str | float | None

# UCUM codes a number may be asked in, with what one of our own (first) units is in each.
UNITS: dict[str, dict[str, float]] = {
    "mA": {"mA": 1.0, "A": 1e-3, "uA": 1e3},
    "g": {"g": 1.0, "kg": 1e-3, "mg": 1e3, "mL": 1.0, "L": 1e-3},
    "MOhm": {"MOhm": 1.0, "kOhm": 1e3, "Ohm": 1e6, "GOhm": 1e-3},
    "Ohm": {"Ohm": 1.0, "mOhm": 1e3, "kOhm": 1e-3, "MOhm": 1e-6},
    "uS/cm": {"uS/cm": 1.0, "mS/cm": 1e-3, "mS/m": 0.1, "S/m": 1e-4},
    "mm/m": {"mm/m": 1.0, "%": 0.1, "m/m": 1e-3},
    "Cel": {"Cel": 1.0},
    "kPa": {"kPa": 1.0, "Pa": 1e3, "bar": 1e-2},
    "mm": {"mm": 1.0, "cm": 0.1, "m": 1e-3},
    "V": {"V": 1.0, "mV": 1e3},
    "min": {"min": 1.0, "s": 60.0, "h": 1.0 / 60.0},
    "s": {"s": 1.0, "min": 1.0 / 60.0},
    "mL/s": {"mL/s": 1.0, "mL/min": 60.0, "L/min": 0.06},
    "L/min": {"L/min": 1.0, "mL/min": 1e3, "mL/s": 1e3 / 60.0},
}
PLAIN_SECONDS = 5.0  # for a thing without a duration of its own


class Person:
    """Does what a prompt asks. Each thing has a plausible duration; unknown things get the easy answer."""

    def __init__(self, unit: Unit, fixture: Fixture, tools: HandTools, seed: int) -> None:
        self._tools = tools
        self._unit = unit
        self._fixture = fixture
        self._hand = Random(f"{seed}/person")
        work, self._looks = Handwork(unit), Looks(unit)
        self._doings: dict[str, tuple[Callable[[], None], float]] = {
            "break-out": (self._break_out, 150.0),
            "leads-back": (self._leads_back, 150.0),
            "door-shut": (self._shut, 20.0),
            "start-button": (self._start, 1.0),
            "jug-in-place": (self._jug, 40.0),
            "emergency-stop": (lambda: fixture.stop(True), 0.5),
            "emergency-stop-reset": (lambda: fixture.stop(False), 5.0),
            "cut-out-reset": (self._reset_cut_out, 60.0),
            **work.doings,
            **self._looks.doings,
        }
        self._sights: dict[str, tuple[Callable[[], bool], float]] = {
            "decontamination-statement": (lambda: True, 60.0),
            "untouched": (lambda: True, 15.0),
            "rating-plate": (lambda: True, 30.0),
            "reservoir": (self._between_marks, 15.0),
            "rested-before-start": (lambda: unit.defects.rested >= 20.0, 15.0),
            "stop-findings": (lambda: True, 120.0),
            **work.sights,
            **self._looks.sights,
        }
        electrics = unit.model.electrics
        # What is read, its unit, the last digit the hand instrument shows, the seconds it takes.
        self._numbers: dict[str, tuple[Callable[[], float], str, float, float]] = {
            "tilt-at-owner": (self._tilt, "mm/m", 0.5, 15.0),
            "water-conductivity": (unit.circuits.conductivity, "uS/cm", 0.1, 45.0),
            "earth-bond": (lambda: electrics.earth_bond, "Ohm", 0.001, 120.0),
            "insulation": (lambda: insulation_at(electrics.insulation, unit.heat.metal), "MOhm", 0.1, 90.0),
            "chamber-water": (self._weigh, "g", 1.0, 180.0),
            **work.numbers,
            **self._looks.numbers,
        }

    def does(self, verb: str, thing: str, kind: str, options: Sequence[str], unit: str) -> tuple[Answer, float]:
        """The answer and the seconds it took; the deed is done at once. `thing` decides, not `verb`."""
        if self._tools.knows(thing, kind):
            return self._tools.does(thing, options)
        answer: Answer = None
        seconds = PLAIN_SECONDS
        known = True
        if thing == "cool-down":
            answer, seconds = True, self._looks.cooling()
        elif thing in self._doings:
            deed, seconds = self._doings[thing]
            deed()
            answer = True
        elif thing in self._sights:
            sight, seconds = self._sights[thing]
            answer = sight()
        elif thing in self._numbers:
            read, own, digit, seconds = self._numbers[thing]
            number = round(read() / digit) * digit
            factor = UNITS[own].get(unit)
            answer = None if factor is None else float(f"{number * factor:.10g}")
        elif thing in self._looks.words and kind in ("choice", "text"):
            say, seconds = self._looks.words[thing]
            answer = say()
        else:
            known = False
        seconds *= 0.9 + 0.2 * self._hand.random()
        if not known or not _fits(answer, kind, options):
            answer = _easy(kind, options)
        return answer, seconds

    # ---- doing --------------------------------------------------------------------------------------------

    def _break_out(self) -> None:
        self._unit.joined.heater_leads = False

    def _leads_back(self) -> None:
        self._unit.joined.heater_leads = True

    def _shut(self) -> None:
        self._unit.door_shut = True
        self._fixture.lid_shut = True
        self._unit.joined.jug = False

    def _start(self) -> None:
        self._unit.board.press_start(self._unit.vessel.sealed)

    def _reset_cut_out(self) -> None:
        self._unit.heat.tripped = False

    def _jug(self) -> None:
        """An empty jug on the scale under the open chamber; what was weighed before is poured away."""
        unit = self._unit
        unit.door_shut = False
        unit.stores.removed += unit.stores.jug
        unit.stores.jug = 0.0
        unit.joined.jug = True

    # ---- looking and measuring ----------------------------------------------------------------------------

    def _between_marks(self) -> bool:
        return 0.030 <= self._unit.fill.level(self._unit.stores) <= 0.100

    def _tilt(self) -> float:
        unit = self._unit
        return unit.model.place.tilt_at_owner + unit.defects.tilt

    def _weigh(self) -> float:
        """Open the door, drain the chamber into the jug, weigh. A film of a gram or so stays behind."""
        unit = self._unit
        unit.door_shut = False
        stores = unit.stores
        stores.removed += stores.jug
        stores.jug = unit.drain_chamber(0.0005 + 0.001 * self._hand.random())
        return 1000.0 * stores.jug


def _fits(answer: Answer, kind: str, options: Sequence[str]) -> bool:
    if kind in ("done", "yes-no"):
        return isinstance(answer, bool)
    if kind == "number":
        return answer is None or (isinstance(answer, float) and not isinstance(answer, bool))
    return isinstance(answer, str) and (kind == "text" or answer in options)


def _easy(kind: str, options: Sequence[str]) -> Answer:
    """What is said about a thing nobody told the person of."""
    if kind in ("done", "yes-no"):
        return True
    if kind == "choice":
        return options[0] if options else None
    return "" if kind == "text" else None
