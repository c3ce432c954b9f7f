"""A plant with nothing behind it: what the wires show of it is known exactly."""

import math
from collections.abc import Sequence

RISE = 0.010  # s: the fake waveform's time constant


class FakePlant:
    """Notes the times it is advanced to; coils and values are what the test sets."""

    def __init__(self) -> None:
        self.times: list[float] = []
        self.boards: dict[int, list[bool]] = {1: [False] * 24, 4: [False] * 24}
        self.held: dict[tuple[int, int], tuple[bool | None, bool | None]] = {}
        self.at_socket = (230.0, 0.0, 50.0)
        self.inputs_closed = [False] * 24
        self.values = dict.fromkeys(range(12), 0.0)
        self.terminals: dict[str, float] = {}
        self.asked: list[tuple[str, str, str, list[str], str]] = []
        self.abuses: list[str] = []
        self.physics_seconds = 0.0

    @property
    def now(self) -> float:
        return self.times[-1] if self.times else 0.0

    def advance(self, now: float) -> None:
        self.times.append(max(now, self.now))

    def set_coil(self, board: int, channel: int, on: bool) -> None:
        self.boards[board][channel] = on

    def coils(self, board: int) -> list[bool]:
        return list(self.boards[board])

    def contacts(self, board: int) -> list[bool]:
        held = {channel: contact for (on, channel), (contact, _) in self.held.items() if on == board}
        return [bool(held.get(k, on)) for k, on in enumerate(self.boards[board])]

    def hold_contact(self, board: int, channel: int, contact: bool | None, mirror: bool | None) -> None:
        self.held.pop((board, channel), None)
        if (contact, mirror) != (None, None):
            self.held[board, channel] = contact, mirror

    def inputs(self) -> list[bool]:
        return list(self.inputs_closed)

    def quantity(self, channel: int) -> float:
        return self.values[channel]

    def socket(self) -> tuple[float, float, float]:
        return self.at_socket

    def meter_sees(self, function: str) -> float:
        return self.terminals.get(function, math.inf if function.startswith("ohms") else 0.0)

    def meter_waveform(self, start: float, interval: float, count: int) -> list[float]:
        assert start + (count - 1) * interval <= self.now + 1e-9, "a record may not reach beyond now"
        return [0.05 * (1.0 - math.exp(-(k * interval) / RISE)) for k in range(count)]

    def person(
        self, verb: str, thing: str, kind: str, options: Sequence[str], unit: str
    ) -> tuple[bool | str | float | None, float]:
        if thing == "nonsense" or kind not in ("yes-no", "number", "done"):
            raise ValueError(f"the person knows no '{thing}'")
        self.asked.append((verb, thing, kind, list(options), unit))
        answers: dict[str, bool | str | float | None] = {"yes-no": True, "number": 412.5, "done": None}
        return answers[kind], 90.0
