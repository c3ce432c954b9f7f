"""What an instrument must offer to the bench. Drivers implement these; nothing else of them is used."""

from __future__ import annotations

import json
from collections.abc import Awaitable, Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Generic, NamedTuple, Protocol, TypeVar, runtime_checkable

from rig.bench.clock import Clock
from rig.plan.wiring import InstrumentSpec, Link

T = TypeVar("T")


class Answer(NamedTuple, Generic[T]):
    """A value with the times at which it was asked for and had, in seconds on the bench's clock."""

    value: T
    asked: float
    had: float


class Instrument(Protocol):
    """Any instrument."""

    async def identify(self) -> str:
        """Its serial number, from the instrument itself. Raises InstrumentError."""

    async def close(self) -> None:
        """Let go of the link. Never raises."""


@runtime_checkable
class Relays(Instrument, Protocol):
    """Relay outputs."""

    async def write(self, channel: int, on: bool) -> Answer[None]:
        """Drive one coil. Raises InstrumentError."""

    async def write_all(self, on: Sequence[bool]) -> Answer[None]:
        """Drive all coils in one exchange. Raises InstrumentError."""

    async def read(self) -> Answer[tuple[bool, ...]]:
        """What the board says its coils are. Raises InstrumentError."""


@runtime_checkable
class Watchdogged(Protocol):
    """A relay board that drops its coils by itself when it hears nothing."""

    async def set_watchdog(self, register: int, unit: float, seconds: float) -> float:
        """Set the time and read it back, in seconds; ``unit`` is what one count of the register means. Raises
        InstrumentError."""


@runtime_checkable
class Inputs(Instrument, Protocol):
    """Contacts."""

    async def read(self) -> Answer[tuple[bool, ...]]:
        """All inputs, True when closed. Raises InstrumentError."""


@runtime_checkable
class Analog(Instrument, Protocol):
    """Analog inputs as raw counts."""

    async def read_raw(self, first: int, count: int) -> Answer[tuple[int, ...]]:
        """Signed counts of neighbouring channels. Raises InstrumentError."""


@runtime_checkable
class Meter(Instrument, Protocol):
    """A multimeter. Values are in V, A, Ohm, Hz; an over-range answer raises OverRange."""

    async def measure(self, function: str, full_scale: float | None) -> Answer[float]:
        """One reading; ``function`` in the words of procedures, ``full_scale`` in the function's unit. Raises
        InstrumentError."""

    async def start_record(self, full_scale: float, interval: float, count: int) -> Answer[None]:
        """Begin to record ``count`` voltages, ``interval`` seconds apart. Raises InstrumentError."""

    async def fetch_record(self) -> Answer[tuple[float, ...]]:
        """The recorded voltages. Raises InstrumentError."""

    def range_for(self, function: str, full_scale: float | None) -> float | None:
        """The range that such a reading will be taken on, where it is known."""


@runtime_checkable
class Gauge(Instrument, Protocol):
    """An instrument that gives quantities themselves, not counts."""

    async def read_value(self, channel: int) -> Answer[float]:
        """The quantity of a channel now, in its canonical unit. Raises InstrumentError."""


@runtime_checkable
class ByHand(Instrument, Protocol):
    """A person with a hand instrument. Readings are asked for by the run; switches through ``asks``, which the run
    sets: the name of an output, or nothing for all, and whether it is to go on. It returns when that is done."""

    asks: Callable[[str, bool], Awaitable[None]]


@runtime_checkable
class Hands(Instrument, Protocol):
    """The simulated person of a simulated station."""

    async def do(self, verb: str, thing: str, kind: str, options: Sequence[str], unit: str) -> Answer[Any]:
        """Do or look; the answer. Raises InstrumentError."""


def hands_line(verb: str, thing: str, kind: str, options: Sequence[str], unit: str) -> bytes:
    """How a simulated person is asked on a wire: one line of JSON, without its end."""
    asked = {"verb": verb, "thing": thing, "kind": kind, "options": list(options), "unit": unit}
    return json.dumps(asked).encode()


def text_words(data: bytes, asked: bool) -> dict[str, Any]:
    """What a line of text means: the text."""
    return {"text": data.decode("ascii", "backslashreplace").rstrip("\r\n")}


class WireRecorder(Protocol):
    """Keeps what is on the wire of one link, as bytes. Times ``at`` are seconds on the bench's clock. Any thread."""

    def asked(self, instrument: str, raw: bytes, at: float) -> None:
        """A whole question leaves."""

    def said(self, instrument: str, raw: bytes, at: float) -> None:
        """Bytes have come."""

    def ended(self, instrument: str, how: str, at: float) -> None:
        """The other side has ended the connection: "reset" or "close"."""

    def over(self, at: float) -> None:
        """The exchange is over. What came at the very moment of the question, on a clock that stood still, came now."""


class Unrecorded:
    """Keeps nothing."""

    def asked(self, instrument: str, raw: bytes, at: float) -> None: ...

    def said(self, instrument: str, raw: bytes, at: float) -> None: ...

    def ended(self, instrument: str, how: str, at: float) -> None: ...

    def over(self, at: float) -> None: ...


Words = Callable[[bytes, bool], Mapping[str, Any]]  # what bytes mean, of a question (True) or of an answer


@dataclass(frozen=True)
class Connection:
    """What a driver is given to open itself."""

    name: str
    spec: InstrumentSpec
    link_name: str
    link: Link  # its address is resolved: HOST:PORT or a VISA resource string
    clock: Clock
    simulated: bool
    outputs: Mapping[int, str] = field(default_factory=dict)  # what the bench calls the outputs on it, by channel
    note: Callable[[str], None] = lambda text: None  # tell of an oddity that was put right, or of an attempt
    # what keeps the bytes of this link; given the wire ("modbus-tcp", "modbus-rtu", "lines") and what its bytes mean
    recorder: Callable[[str, Words], WireRecorder] = lambda wire, words: Unrecorded()


class Driver(Protocol):
    """An entry point of the group ``refurb_rig.drivers``: opens one instrument. ``shared`` holds, for the life of a
    bench, whatever several instruments on one link have in common (a bus). Raises InstrumentError, InputError."""

    async def __call__(self, connection: Connection, shared: dict[str, Any]) -> Instrument: ...


StationFactory = Callable[..., Any]
