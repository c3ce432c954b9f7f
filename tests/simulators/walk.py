"""The incoming inspection walked by hand against a Plant, coil by coil, with no instruments in between."""

from dataclasses import dataclass, field
from math import inf, nan

from simulators.plant import Plant

MAINS, ENABLE, TO_BENCH, FEED, DC, OHMS, VOLTS = 0, 1, 2, 3, 6, 15, 16
PROBE, DRIVE, DEMAND, FLOAT = 16, 17, 18, 20
GIVE_UP = 180.0
# The limits an inspection of this unit is judged by (invented, as the unit is): step to (least, most).
LIMITS: dict[str, tuple[float, float]] = {
    "heater-cold-resistance": (35.3 * 0.95, 35.3 * 1.10),
    "cut-out-resistance": (0.0, 0.1),
    "chassis-reference-resistance": (0.0, 0.5),
    "fill-lead-resistance": (0.0, 1.0),
    "coil-resistance-at-20": (57.6 * 0.85, 57.6 * 1.15),
    "idle-current": (0.005, 0.150),
    "fill-supply-loaded": (20.4, 28.8),
    "fill-current-from-board": (0.417 * 0.8, 0.417 * 1.2),
    "fill-time": (60.0, 120.0),
    "chamber-pressure-filling": (-inf, 300.0),
    "water-drained": (420.0 * 0.8, 420.0 * 1.2),
    "mean-flow": (3.5, 7.0),
    "plunger-dip": (0.030, inf),
    "fill-current-from-bench": (0.417 * 0.8, 0.417 * 1.2),
    "flow-from-bench": (3.5, 7.0),
    "second-fill-time": (60.0, 120.0),
    "mains-under-load": (207.0, 253.0),
    "heater-current": (6.5 * 0.85, 6.5 * 1.15),
    "heater-power-at-rated": (1350.0, 1575.0),
    "heat-rise": (9.5, 14.0),
}
NEEDS_HEAT = ("mains-under-load", "heater-current", "heater-power-at-rated", "heat-rise")


def failing(got: dict[str, float]) -> set[str]:
    """Steps whose reading is missing or outside its limit."""
    return {step for step, (least, most) in LIMITS.items() if not least <= got[step] <= most}


@dataclass
class Walk:
    """Readings by the name of the step; nan where a reading could not be had."""

    plant: Plant
    got: dict[str, float] = field(default_factory=dict)

    def wait(self, seconds: float) -> None:
        self.plant.advance(self.plant.now + seconds)

    def until(self, channel: int, state: bool, limit: float, every: float = 0.1) -> float:
        """Simulated time at which an input reads `state`, looked at every `every` s; inf after `limit` s."""
        start = self.plant.now
        while self.plant.inputs()[channel] is not state:
            if self.plant.now - start >= limit:
                return inf
            self.wait(every)
        return self.plant.now

    def coil(self, channel: int, on: bool, board: int = 1) -> None:
        self.plant.set_coil(board, channel, on)
        self.wait(0.06)

    def ask(self, thing: str, kind: str = "done", unit: str = "", verb: str = "confirm") -> bool | str | float | None:
        answer, seconds = self.plant.person(verb, thing, kind, [], unit)
        self.wait(seconds)
        return answer

    def number(self, thing: str, unit: str) -> float:
        answer = self.ask(thing, "number", unit, "measure")
        assert isinstance(answer, float)
        return answer

    def meter(self, bus: int, selector: int, function: str) -> float:
        self.coil(bus, True)
        self.coil(selector, True, board=4)
        self.wait(0.3)
        value = self.plant.meter_sees(function)
        self.coil(selector, False, board=4)
        self.coil(bus, False)
        return value

    def cold(self) -> None:
        self.ask("break-out")
        self.got["heater-cold-resistance"] = self.meter(OHMS, 9, "ohms-4w")
        self.got["cut-out-resistance"] = self.meter(OHMS, 10, "ohms-4w")
        self.got["chassis-reference-resistance"] = self.meter(OHMS, 11, "ohms-4w")
        self.got["fill-lead-resistance"] = self.meter(OHMS, 12, "ohms-4w")
        self.coil(TO_BENCH, True)
        self.got["coil-resistance"] = self.meter(OHMS, 8, "ohms-4w")
        self.coil(TO_BENCH, False)
        ambient = self.plant.quantity(3)
        self.got["coil-resistance-at-20"] = self.got["coil-resistance"] / (1 + 0.00393 * (ambient - 20.0))
        self.ask("leads-back")

    def fill(self, name: str, keep_power: bool = False) -> None:
        """One fill by the unit's board, watched; mains stays on afterwards with `keep_power`."""
        self.ask("door-shut")
        self.coil(MAINS, True)
        self.wait(10.0)
        self.got["idle-current"] = self.plant.quantity(9)
        self.ask("start-button", verb="press")
        started = self.until(DRIVE, True, 60.0)
        assert started < inf
        self.wait(10.0)
        self.got["fill-supply-loaded"] = self.meter(VOLTS, 0, "volts-dc")
        self.got["fill-current-from-board"] = self.meter(VOLTS, 4, "volts-dc") / 0.1
        highest = -inf
        while not self.plant.inputs()[PROBE] and self.plant.now - started < GIVE_UP:
            highest = max(highest, self.plant.quantity(5))
            self.wait(0.1)
        self.got[name] = self.plant.now - started if self.plant.inputs()[PROBE] else nan
        self.got["chamber-pressure-filling"] = highest
        self.got["level-relay"] = float(self.plant.inputs()[FLOAT])
        if not keep_power:
            self.coil(MAINS, False)

    def drain(self) -> None:
        self.got["water-drained"] = self.number("chamber-water", "g")
        self.got["mean-flow"] = self.got["water-drained"] / self.got["fill-time"] / 0.998

    def bench(self) -> None:
        self.ask("jug-in-place")
        self.coil(TO_BENCH, True)
        self.coil(DC, True)
        self.coil(VOLTS, True)
        self.coil(4, True, board=4)
        began = self.plant.now
        self.plant.set_coil(1, FEED, True)
        self.wait(0.14)
        wave = [volts / 0.1 for volts in self.plant.meter_waveform(began, 1e-4, 1400)]
        self.got["plunger-dip"] = dip(wave)
        self.wait(2.0)
        self.got["fill-current-from-bench"] = self.plant.meter_sees("volts-dc") / 0.1
        self.coil(FEED, False)
        self.wait(3.0)
        self.coil(FEED, True)
        points = []
        for _ in range(31):
            points.append((self.plant.now, self.plant.quantity(8)))
            self.wait(1.0)
        for channel in (FEED, DC, TO_BENCH, VOLTS):
            self.coil(channel, False)
        self.coil(4, False, board=4)
        self.got["flow-from-bench"] = slope(points) / 0.998

    def heat(self) -> None:
        self.fill("second-fill-time", keep_power=True)
        self.coil(ENABLE, True)
        self.wait(15.0)
        self.got["mains-under-load"] = self.meter(VOLTS, 2, "volts-ac")
        self.got["heater-current"] = self.plant.quantity(6)
        self.got["heater-power-at-rated"] = self.got["heater-current"] * 230.0**2 / self.got["mains-under-load"]
        times = []
        for mark in (40.0, 90.0):
            limit = self.plant.now + 720.0
            while self.plant.quantity(0) < mark and self.plant.now < limit:
                self.wait(1.0)
            times.append(self.plant.now if self.plant.quantity(0) >= mark else nan)
        self.got["heat-rise"] = 50.0 / (times[1] - times[0]) * 60.0
        self.coil(ENABLE, False)
        self.coil(MAINS, False)

    def inspect(self) -> dict[str, float]:
        self.cold()
        self.fill("fill-time")
        self.drain()
        self.bench()
        self.heat()
        return self.got


def dip(wave: list[float]) -> float:
    """Depth in A of the deepest fall from a value reached before, with a rise after it."""
    best, highest = 0.0, -inf
    for k, value in enumerate(wave):
        highest = max(highest, value)
        if highest - value > best and max(wave[k:]) > value + 0.01:
            best = highest - value
    return best


def slope(points: list[tuple[float, float]]) -> float:
    """Least-squares slope."""
    mean_x = sum(x for x, _ in points) / len(points)
    mean_y = sum(y for _, y in points) / len(points)
    return sum((x - mean_x) * (y - mean_y) for x, y in points) / sum((x - mean_x) ** 2 for x, _ in points)
