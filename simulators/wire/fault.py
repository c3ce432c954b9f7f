"""What a fault of the wire is: what it may know of an exchange, and where it may lay hands on it.

A fault is set on one instrument. Before the device acts it may keep the request from it (`acts`); afterwards it
bends what leaves (`bend`). A fault of the device itself, or of its listener, sits there from `begin` to `end`.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from math import isfinite
from typing import TYPE_CHECKING, ClassVar

from simulators.wire import FarEnd, Plant, Question
from simulators.wire.delivery import Delivery
from simulators.wire.frames import Frame
from simulators.wire.upsets import Upsettable

if TYPE_CHECKING:
    from simulators.wire.link import Listener

RELAYS, INPUTS, ANALOG, POWER, METER, SCALE = "relays", "inputs", "analog", "power", "meter", "scale"
MODBUS = frozenset({RELAYS, INPUTS, ANALOG, POWER})
REGISTERS = frozenset({ANALOG, POWER})
BITS = frozenset({RELAYS, INPUTS})
LINES = frozenset({METER, SCALE})
EVERY = MODBUS | LINES
TCP, SERIAL = frozenset({"tcp"}), frozenset({"serial"})
ANY_WIRE = TCP | SERIAL

# Seconds that an answer comes late where nobody says how long the asker waits. Within, and beyond, what programs
# usually wait: about half a second for a field bus module, some seconds for a meter (common practice, no source).
SECONDS_WITHIN = {METER: 2.0}
SECONDS_BEYOND = {METER: 8.0, SCALE: 4.0}
UNACTED_SECONDS = 0.004  # what a refusal costs that never reached the device


@dataclass(frozen=True)
class Exchange:
    """One question, before it is answered. `patience` (seconds) is infinite where nobody knows it."""

    request: bytes
    question: Question
    far_end: FarEnd
    now: float
    patience: float
    history: Sequence[tuple[bytes, bytes | None]]  # earlier requests and honest answers on this link

    @property
    def text(self) -> bool:
        """Lines are spoken here, not frames."""
        return self.far_end.frames.text

    @property
    def within(self) -> float:
        """Seconds after which an answer is late, but the asker still waits."""
        usual = SECONDS_WITHIN.get(self.question.sort, 0.3)
        return min(usual, self.patience / 2)

    @property
    def beyond(self) -> float:
        """Seconds after which the asker has just given up."""
        usual = SECONDS_BEYOND.get(self.question.sort, 1.0)
        return self.patience + 0.001 if isfinite(self.patience) else usual

    def frame(self) -> Frame:
        """The request's Modbus frame. Raises ValueError on a wire that carries none."""
        frame = self.far_end.frames.split(self.request)
        if frame is None:
            raise ValueError("no Modbus frame")
        return frame

    def earlier(self, same_function: bool = False) -> bytes | None:
        """The honest answer to the question before this one to the same instrument."""
        for request, answer in reversed(self.history):
            asked = self.far_end.question(request)
            same = asked.instrument == self.question.instrument
            if same and answer is not None and not (same_function and asked.words != self.question.words):
                return answer
        return None


@dataclass
class Site:
    """Where a fault is put: an instrument, its listener, what stands behind it. Filled by the station."""

    name: str
    sort: str
    wire: str  # "tcp" or "serial"
    listener: "Listener"
    device: Upsettable
    plant: Plant
    now: Callable[[], float]

    @property
    def link(self) -> str:
        """The name of its link."""
        return self.listener.link.name


class Fault:
    """Base of all faults of the wire. The fields of a subclass are its parameters.

    `stage` orders faults that meet in one exchange: contents (0) before times (1) before connections (2).
    """

    stage: ClassVar[int] = 0
    whole_link: ClassVar[bool] = False  # it hits every instrument on the link
    spent: bool = False  # it has done what it had to do, and takes itself out
    counted: ClassVar[bool] = True  # "the next N exchanges" means something for it

    def begin(self, site: Site) -> None:
        """It is put in. Raises ValueError for a parameter that this instrument cannot honour."""

    def end(self, site: Site) -> None:
        """It is taken out."""

    def concerns(self, question: Question) -> bool:
        """It has something to do with such a question."""
        return True

    def acts(self, exchange: Exchange) -> bool:
        """The request reaches the device."""
        return True

    def bend(self, exchange: Exchange, delivery: Delivery) -> Delivery:
        """What leaves instead."""
        return delivery


class Reading(Fault):
    """A fault of the answers that carry a value; all others pass unharmed and uncounted."""

    def concerns(self, question: Question) -> bool:
        """See Fault."""
        return question.reads


@dataclass(frozen=True)
class Kind:
    """A fault as it is listed: its name, what happens, what a technician sees, where it can be."""

    name: str
    line: str
    seen: str
    sorts: frozenset[str]
    make: Callable[..., Fault]
    wires: frozenset[str] = ANY_WIRE
    takes: tuple[str, ...] = ()  # the parameters that may be given


LONGEST = 3600.0  # s
WHOLE_NUMBERS = {"channel": 0xFFFF, "device": 247, "code": 255, "by": 0xFFFF, "value": 0xFFFF}  # name: highest


def check_parameter(name: str, value: object) -> None:
    """Raises ValueError for a value that a parameter of this name cannot have."""
    if name in WHOLE_NUMBERS:
        if isinstance(value, bool) or not isinstance(value, int) or not 0 <= value <= WHOLE_NUMBERS[name]:
            raise ValueError(f"{name}: expected a whole number from 0 to {WHOLE_NUMBERS[name]}, found {value!r}")
    elif name == "seconds":
        if isinstance(value, bool) or not isinstance(value, int | float) or not 0.0 <= value <= LONGEST:
            raise ValueError(f"seconds: expected a number from 0 to {LONGEST:g}, found {value!r}")
    elif not isinstance(value, str) or not value.isascii() or not value.isprintable():
        raise ValueError(f"{name}: expected a plain text, found {value!r}")
