"""What all simulated wires share: the far end of a wire, what it is asked, what it answers.

A *far end* (relay boards, meter, person) only turns a request into an `Answer`; it knows bytes and the plant,
neither sockets nor clocks. `link.py` gives it a listener and lets the answer leave at its time; what may go
wrong in between is in `misbehaviour`.
"""

from collections.abc import Callable, Sequence
from typing import NamedTuple, Protocol

from simulators.clock import LockstepClock
from simulators.wire.frames import Frames


class Plant(Protocol):
    """What the wires need of the unit in its fixture. True values, no instruments' errors."""

    @property
    def now(self) -> float: ...
    def advance(self, now: float) -> None: ...
    def set_coil(self, board: int, channel: int, on: bool) -> None: ...
    def coils(self, board: int) -> list[bool]: ...
    def inputs(self) -> list[bool]: ...
    def contacts(self, board: int) -> list[bool]: ...
    def hold_contact(self, board: int, channel: int, contact: bool | None, mirror: bool | None) -> None: ...
    def quantity(self, channel: int) -> float: ...
    def socket(self) -> tuple[float, float, float]: ...
    def meter_sees(self, function: str) -> float: ...
    def meter_waveform(self, start: float, interval: float, count: int) -> list[float]: ...
    def person(
        self, verb: str, thing: str, kind: str, options: Sequence[str], unit: str
    ) -> tuple[bool | str | float | None, float]: ...


class Question(NamedTuple):
    """What a request asks, and of whom."""

    instrument: str  # its name on the bench; "" where nobody has the address
    sort: str  # "relays", "inputs", "analog", "power", "meter", "scale", "person"
    words: tuple[str, ...]  # the function code, or the headers of a SCPI line
    reads: bool = False  # a value is asked for
    identifies: bool = False  # the serial number is asked for


class Answer(NamedTuple):
    """What goes back for one request."""

    data: bytes | None  # None: nothing is sent
    seconds: float = 0.0  # how long the exchange takes
    silent: bool = False  # somebody waits for an answer and gets none


class FarEnd(Protocol):
    """The device, or the person, at the other end of a wire. `frames` is how it is spoken to."""

    @property
    def frames(self) -> Frames: ...

    def question(self, request: bytes) -> Question:
        """What a request asks, without acting on it."""

    def serve(self, request: bytes, now: float) -> Answer:
        """Act on a request at `now` (seconds of the station's time)."""


class Pace(NamedTuple):
    """How the station's time runs: a lockstep clock, or the wall's time (times a speed)."""

    now: Callable[[], float]
    clock: LockstepClock | None
    speed: float = 1.0
