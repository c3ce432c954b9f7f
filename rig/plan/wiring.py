"""A bench file: links, instruments, and what each channel is wired to."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Literal

from pydantic import Field, model_validator

from rig.plan.channels import Accuracy, Channel, QuantitySpec, Temperatures
from rig.plan.procedure import Function
from rig.plan.safety import Circuit, Interlock, Watchdog, WiringOnly
from rig.plan.values import (
    DAY,
    WRITTEN,
    AnyQuantity,
    Date,
    Duration,
    LimitText,
    Name,
    Share,
    Strict,
    Text,
    of_kind,
)
from rig.quantities import Quantity

Electrical = Literal["nothing", "mains", "heater", "bench feed", "air"]


@dataclass(frozen=True)
class SerialSettings:
    """How a serial line is set."""

    baud: int
    parity: str
    stop_bits: int


class Link(Strict):
    """One way to instruments. ``address`` is ``station`` (the simulated station says where), HOST:PORT, the path of a
    serial port, or a VISA resource string; the settings are those of a serial line. ``hand`` is a person with a hand
    instrument: readings are typed, outputs are switched when asked for; the address says where, for people."""

    protocol: Literal["modbus-tcp", "modbus-rtu", "visa", "person", "hand"]
    address: Text
    baud: Annotated[int, Field(strict=True, ge=300, le=4_000_000)] | None = None
    parity: Literal["none", "even", "odd"] | None = None
    stop_bits: Literal[1, 2] | None = None

    def serial(self) -> SerialSettings:
        """The settings of a serial line, with what holds where nothing is written: 19 200 baud, even parity, one stop
        bit (MODBUS over Serial Line V1.02, 2.5.1), two without parity."""
        parity = self.parity or "even"
        return SerialSettings(self.baud or 19_200, parity, self.stop_bits or (2 if parity == "none" else 1))


class InstrumentSpec(Strict):
    """An instrument: its driver (found by name), its link, what it speaks, and its paper."""

    driver: Name
    link: Name
    device: Annotated[int, Field(strict=True, ge=0, le=247)] | None = None
    channels: Annotated[int, Field(strict=True, ge=1, le=2000)] | None = None
    map: Name | None = None  # which of the driver's register maps or dialects; its first if not given
    serial: Text
    calibrated: Date | None = None
    calibrated_until: Date | None = None
    accuracy: tuple[Accuracy, ...] = ()
    watchdog: Watchdog | None = None


class HandInstrument(Strict):
    """An instrument that people at this bench read by themselves, and its paper. A question of a procedure says with
    which one (``with``)."""

    serial: Text
    calibrated: Date | None = None
    calibrated_until: Date | None = None
    for_: Text


class OffWhen(Strict):
    """A bench quantity that is next to nothing when an output is really off."""

    quantity: Name
    at_most: AnyQuantity


class OutputSpec(Strict):
    """Something the rig can energize. ``feedback`` is an input that is *closed* when the output is on, or
    ``read-back`` where only the board's own word can be had. ``caution`` is said to a person who is to switch it on.
    One that ``rests`` goes on again only when it has been off as long as it was on: a coil cools (common practice, no
    source)."""

    instrument: Name
    channel: Channel
    energizes: Electrical
    feedback: Name
    longest_on: Duration
    rests: Literal["as long as it was on"] | None = None
    off_when: OffWhen | None = None  # what must be measured besides: a contact that is welded may say that it is off
    caution: Text | None = None
    for_: Text


class InputSpec(Strict):
    """A contact, with the trade's words for open and closed."""

    instrument: Name
    channel: Channel
    open: Name
    closed: Name
    for_: Text


class Select(Strict):
    """The relay that connects a test point to its bus."""

    instrument: Name
    channel: Channel


class TestPoint(Strict):
    """Two terminals the multimeter can be switched to; ``on`` names the circuit (an entry of ``circuits``). Without bus
    and select a person puts the leads of a hand meter there."""

    __test__ = False  # not a pytest class

    meter: Name
    bus: Name | None = None
    select: Select | None = None
    measures: tuple[Function, ...] = Field(min_length=1)
    shunt: AnyQuantity | None = None
    shunt_accuracy: Share | None = None
    on: Name
    needs_on: tuple[Name, ...] = ()
    for_: Text

    @model_validator(mode="after")
    def _led_to(self) -> TestPoint:
        if (self.bus is None) != (self.select is None):
            raise ValueError("bus and select go together; a hand meter needs neither")
        return self


class InOrder(Strict):
    """What must be so before a run on this bench: a self-check of its reference parts that is young enough and passed,
    and every instrument in calibration."""

    self_check: Name | None = None
    no_older_than: Annotated[Quantity, of_kind("time", least=60, most=31 * DAY), WRITTEN] = Quantity(24.0, "h")
    calibration: Literal["note", "refuse"] = "refuse"


class Bench(Strict):
    """One bench file."""

    bench: Name
    title: Text
    simulated: Annotated[bool, Field(strict=True)]
    station: Name | None = None
    speed: Annotated[float, Field(strict=True, gt=0, le=1000)] = 1.0
    links: dict[Name, Link]
    instruments: dict[Name, InstrumentSpec]
    hand_instruments: dict[Name, HandInstrument] = Field(default_factory=dict)
    outputs: dict[Name, OutputSpec] = Field(default_factory=dict)
    inputs: dict[Name, InputSpec] = Field(default_factory=dict)
    quantities: dict[Name, QuantitySpec] = Field(default_factory=dict)
    test_points: dict[Name, TestPoint] = Field(default_factory=dict)
    reference_parts: dict[Name, LimitText] = Field(default_factory=dict)  # what each may be read as, by the self-check
    all_off_order: tuple[Name, ...] = ()
    in_order: InOrder | None = None
    interlocks: dict[Name, Interlock] = Field(default_factory=dict)
    interlocks_every: Duration = Quantity(500.0, "ms")
    longest_live: Duration = Quantity(2.0, "h")  # all the time of one run in which anything dangerous is on
    room: Temperatures | None = None  # the coldest and the warmest that it gets at the bench
    wiring_only: dict[Name, WiringOnly] = Field(default_factory=dict)
    circuits: dict[Name, Circuit] = Field(default_factory=dict)

    @model_validator(mode="after")
    def _room_is_known(self) -> Bench:
        banded = {name: any(line.band for line in spec.accuracy) for name, spec in self.instruments.items()}
        for name, in_a_band in (banded | {name: bool(q.band) for name, q in self.quantities.items()}).items():
            if self.room is None and in_a_band:
                raise ValueError(f"the accuracy of {name} holds in a band of temperatures: say room: [18 Cel, 28 Cel]")
        if self.room is not None and self.room[0].to("Cel") > self.room[1].to("Cel"):
            raise ValueError(f"room goes from the coldest to the warmest, found {self.room[0]} and {self.room[1]}")
        return self

    @model_validator(mode="after")
    def _one_name_one_instrument(self) -> Bench:
        for name in self.hand_instruments:
            if name in self.instruments:
                raise ValueError(f"'{name}' is among the instruments and among the hand-instruments; one of them only")
        return self

    @model_validator(mode="after")
    def _looked_at_often(self) -> Bench:
        if self.interlocks_every.to("s") > 2.0:
            raise ValueError(f"interlocks-every is at most 2 s, found {self.interlocks_every}")
        return self

    def by_hand(self, instrument: str) -> bool:
        """Whether this instrument is a person with a hand instrument."""
        spec = self.instruments.get(instrument)
        link = None if spec is None else self.links.get(spec.link)
        return link is not None and link.protocol == "hand"
