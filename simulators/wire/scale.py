"""A bench scale on a line of its own: a word asked, a line answered.

    W   weight            "S   +123.4 g" when it stands still, "U   +123.9 g" while it moves
    T   tare              "OK"
    Z   zero              "OK"
    I   who is it         "SCALE,SIM-S1"

Too much on it is "O", something that it does not know "?". The manner is invented with the demonstration bench.
"""

from collections.abc import Callable

from simulators.instruments import NOISE_SHARE, OFFSET_SHARE, noise, stream
from simulators.wire import Answer, Plant, Question
from simulators.wire.frames import LineFrames
from simulators.wire.upsets import Upset

MASS = 8  # the plant's channel, g
SERIAL = "SIM-S1"
CAPACITY = 3000.0  # g
STEP = 0.1  # g, what it shows
ACCURACY = 0.5  # g, limit of error (invented)
STILL_WITHIN = 0.2  # g between two looks
LOOK_SECONDS = 0.1  # its filter; also what an answer takes


class Scale:
    """The load cell under the drain jug, with a display of its own."""

    def __init__(
        self, plant: Plant, seed: int = 0, advance: Callable[[float], None] | None = None, name: str = "scale-1"
    ) -> None:
        self.frames = LineFrames()
        self.upsets: list[Upset] = []  # its readings are upset on the wire, not here
        self._plant, self._advance, self._name = plant, advance or plant.advance, name
        self._source = stream(seed, "scale")
        self._offset = self._source.uniform(-OFFSET_SHARE, OFFSET_SHARE) * ACCURACY
        self._tare = 0.0
        self._now = 0.0

    def power_cycle(self) -> None:
        """It forgets its tare."""
        self._tare = 0.0

    def question(self, request: bytes) -> Question:
        """The word of the line."""
        word = request.decode("ascii", "replace").strip().upper()
        return Question(self._name, "scale", (word,), word == "W", word == "I")

    def serve(self, request: bytes, now: float) -> Answer:
        """Look twice, LOOK_SECONDS apart as far as time allows, and say what it is."""
        word = request.decode("ascii", "replace").strip().upper()
        before, grams = self._look(now)
        said = {"T": "OK", "Z": "OK", "I": f"SCALE,{SERIAL}", "W": self._weight(before, grams)}.get(word, "?")
        if word in ("T", "Z"):
            self._tare = grams
        return Answer(said.encode("ascii") + b"\n", LOOK_SECONDS)

    def _look(self, now: float) -> tuple[float, float]:
        """What lay on it LOOK_SECONDS ago, if nobody looked since, and what lies on it now; g."""
        self._advance(max(self._now, now - LOOK_SECONDS))
        before = self._plant.quantity(MASS)
        self._advance(now)
        self._now = now
        return before, self._plant.quantity(MASS)

    def _weight(self, before: float, grams: float) -> str:
        if grams > CAPACITY:
            return "O"
        shown = grams - self._tare + self._offset + NOISE_SHARE * ACCURACY * noise(self._source)
        shown = round(shown / STEP) * STEP + 0.0  # no -0.0
        still = abs(grams - before) <= STILL_WITHIN
        return f"{'S' if still else 'U'} {shown:+9.1f} g"
