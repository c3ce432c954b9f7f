"""What a station itself sees of the outputs: which are energized, and when that last changed on the wall's clock."""

import time
from typing import Any

from simulators.instruments import MODULES
from simulators.wire import Plant

# What the relays of the demonstration bench switch, by board and channel; the selectors go by their number.
OUTPUTS = {
    ("relays-1", 0): "mains",
    ("relays-1", 1): "heater-enable",
    ("relays-1", 2): "fill-to-bench",
    ("relays-1", 3): "fill-feed",
    ("relays-1", 6): "bus-dc24",
    ("relays-1", 7): "bus-ac24",
    ("relays-1", 9): "dummy-load",
    ("relays-1", 10): "air-dump",
    ("relays-1", 11): "level-sub-47k",
    ("relays-1", 12): "level-sub-1m",
    ("relays-1", 13): "level-lift",
    ("relays-1", 14): "air-supply",
    ("relays-1", 15): "ohms-bus",
    ("relays-1", 16): "volts-bus",
    ("relays-1", 17): "lamp-red",
}
BOARDS = ("relays-1", "relays-2")


class Watch:
    """Looks at coils and contacts whenever it is told to, and remembers the wall's time of each change.

    At real pace it is told after every exchange with the modules and a few times a second besides: a coil's time
    is that of its exchange, a contact's is later by up to the plant's period. In lockstep it is that of the look.
    """

    def __init__(self, plant: Plant) -> None:
        self._plant = plant
        self._coils = {board: plant.coils(MODULES[board].device) for board in BOARDS}
        self._contacts = {board: plant.contacts(MODULES[board].device) for board in BOARDS}
        self._changed: dict[tuple[str, int], dict[str, float]] = {}

    def look(self) -> None:
        """Stamp what has changed since the last look."""
        for board in BOARDS:
            device = MODULES[board].device
            self._stamp("coil_changed", board, self._coils, self._plant.coils(device))
            self._stamp("contact_changed", board, self._contacts, self._plant.contacts(device))

    def outputs(self) -> list[dict[str, Any]]:
        """Every relay that is on, or was: name, instrument, channel, coil, contact, and when each last changed.

        Times are seconds of `time.time()`, None where nothing has changed yet.
        """
        self.look()
        known = set(self._changed) | {place for place in OUTPUTS if self._contacts[place[0]][place[1]]}
        return [self._output(board, channel) for board, channel in sorted(known)]

    def energized(self) -> list[str]:
        """Names of the outputs whose contacts are closed."""
        return [output["name"] for output in self.outputs() if output["contact"]]

    def _output(self, board: str, channel: int) -> dict[str, Any]:
        stamps = self._changed.get((board, channel), {})
        return {
            "name": OUTPUTS.get((board, channel), f"{board}:{channel}"),
            "instrument": board,
            "channel": channel,
            "coil": self._coils[board][channel],
            "contact": self._contacts[board][channel],
            "coil_changed": stamps.get("coil_changed"),
            "contact_changed": stamps.get("contact_changed"),
        }

    def _stamp(self, what: str, board: str, known: dict[str, list[bool]], state: list[bool]) -> None:
        if state != known[board]:
            now = time.time()
            for channel, (before, after) in enumerate(zip(known[board], state, strict=True)):
                if before != after:
                    self._changed.setdefault((board, channel), {})[what] = now
            known[board] = state
