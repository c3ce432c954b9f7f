"""Devices that fail by themselves: boards that reboot, relays that stick or weld, values that stand still."""

from collections import deque
from collections.abc import Callable
from dataclasses import dataclass, field
from functools import partial
from math import inf
from typing import ClassVar

from simulators.instruments import MODULES
from simulators.wire import Question
from simulators.wire.delivery import Delivery
from simulators.wire.fault import (
    ANALOG,
    EVERY,
    INPUTS,
    LINES,
    POWER,
    RELAYS,
    Exchange,
    Fault,
    Kind,
    Site,
)
from simulators.wire.upsets import Upset

CHANNELS = {RELAYS: 24, INPUTS: 24, ANALOG: 12, POWER: 10}
BOOT_SECONDS = 2.0  # invented; small controllers take from one to several seconds


def _board(site: Site) -> int:
    return MODULES[site.name].device


def _coils(site: Site) -> list[bool]:
    return site.plant.coils(_board(site))


def _with(values: dict[int, int], channel: int, value: int) -> dict[int, int]:
    return values | {channel: value} if channel in values else values


def _channel(site: Site, channel: int) -> int:
    if isinstance(channel, bool) or not isinstance(channel, int) or not 0 <= channel < CHANNELS[site.sort]:
        raise ValueError(f"channel: expected a whole number from 0 to {CHANNELS[site.sort] - 1}, found {channel!r}")
    return channel


class Within(Fault, Upset):
    """A fault that sits in the device as an upset."""

    def begin(self, site: Site) -> None:
        site.device.upsets.append(self)

    def end(self, site: Site) -> None:
        site.device.upsets.remove(self)


@dataclass
class Reboot(Fault):
    """The device loses power now, is silent for `seconds` while it starts, and has forgotten everything."""

    seconds: float = BOOT_SECONDS
    stage: ClassVar[int] = 1
    counted: ClassVar[bool] = False
    _until: float = field(default=0.0, init=False)

    def begin(self, site: Site) -> None:
        self._until = site.now() + self.seconds
        site.device.power_cycle()
        if site.sort in LINES:
            site.listener.drop_all()  # a module on a field bus has no connection of its own to lose

    def acts(self, exchange: Exchange) -> bool:
        self.spent = exchange.now >= self._until
        return self.spent

    def bend(self, exchange: Exchange, delivery: Delivery) -> Delivery:
        return delivery if self.spent else Delivery()


class RebootUnsaid(Within):
    """The relays have dropped for a moment's loss of power; the board goes on saying what they were told."""

    counted: ClassVar[bool] = False

    def __init__(self) -> None:
        self._said: dict[int, int] = {}

    def begin(self, site: Site) -> None:
        self._said = {channel: 1 for channel, on in enumerate(_coils(site)) if on}
        site.device.power_cycle()
        super().begin(site)

    def written(self, channel: int, on: bool) -> tuple[int, bool] | None:
        self._said.pop(channel, None)
        return channel, on

    def shown(self, values: dict[int, int]) -> dict[int, int]:
        return {channel: self._said.get(channel, value) for channel, value in values.items()}


@dataclass
class Contact(Within):
    """The contact of relay `channel` stays `closed` whatever its coil does.

    `mirror` is what its auxiliary contact says, `coil` what the board says of its coil. None is the truth each time.
    """

    channel: int = 0
    closed: bool | None = None
    mirror: bool | None = None
    coil: bool | None = None
    counted: ClassVar[bool] = False

    def begin(self, site: Site) -> None:
        _channel(site, self.channel)
        site.plant.hold_contact(_board(site), self.channel, self.closed, self.mirror)
        super().begin(site)

    def end(self, site: Site) -> None:
        super().end(site)
        site.plant.hold_contact(_board(site), self.channel, None, None)

    def shown(self, values: dict[int, int]) -> dict[int, int]:
        return values if self.coil is None else _with(values, self.channel, int(self.coil))


class Deaf(Within):
    """Writes are confirmed and not done."""

    def concerns(self, question: Question) -> bool:
        return any(word in ("5", "15") for word in question.words)

    def written(self, channel: int, on: bool) -> tuple[int, bool] | None:
        return None


class NextChannel(Within):
    """Writes are confirmed, and land one channel further."""

    def concerns(self, question: Question) -> bool:
        return any(word in ("5", "15") for word in question.words)

    def written(self, channel: int, on: bool) -> tuple[int, bool] | None:
        return (channel + 1) % CHANNELS[RELAYS], on


@dataclass
class Lagging(Within):
    """What the board says of its coils is `seconds` old."""

    seconds: float = 0.05

    def begin(self, site: Site) -> None:
        self._now = site.now
        self._seen: deque[tuple[float, list[bool]]] = deque([(-inf, _coils(site))])
        super().begin(site)

    def written(self, channel: int, on: bool) -> tuple[int, bool] | None:
        state = list(self._seen[-1][1])
        state[channel] = on
        self._seen.append((self._now(), state))
        return channel, on

    def shown(self, values: dict[int, int]) -> dict[int, int]:
        while len(self._seen) > 1 and self._seen[1][0] <= self._now() - self.seconds:
            self._seen.popleft()
        return {channel: int(self._seen[0][1][channel]) for channel in values}


@dataclass
class Frozen(Within):
    """All channels, or `channel`, show what they showed first from now on."""

    channel: int | None = None
    _first: dict[int, int] = field(default_factory=dict, init=False)

    def begin(self, site: Site) -> None:
        if self.channel is not None:
            _channel(site, self.channel)
        super().begin(site)

    def shown(self, values: dict[int, int]) -> dict[int, int]:
        stuck = {at: self._first.setdefault(at, value) for at, value in values.items() if self.channel in (None, at)}
        return values | stuck


@dataclass
class Stuck(Within):
    """`channel` shows `value`, whatever is true."""

    channel: int = 0
    value: int = 0

    def begin(self, site: Site) -> None:
        _channel(site, self.channel)
        super().begin(site)

    def shown(self, values: dict[int, int]) -> dict[int, int]:
        return _with(values, self.channel, self.value)


@dataclass
class Chatter(Within):
    """`channel` shows the opposite at every other look."""

    channel: int = 0
    _turn: bool = field(default=False, init=False)

    def begin(self, site: Site) -> None:
        _channel(site, self.channel)
        super().begin(site)

    def shown(self, values: dict[int, int]) -> dict[int, int]:
        self._turn = not self._turn
        return _with(values, self.channel, values.get(self.channel, 0) ^ int(self._turn))


class Inverted(Within):
    """Open is shown as closed, and closed as open."""

    def shown(self, values: dict[int, int]) -> dict[int, int]:
        return {channel: 1 - value for channel, value in values.items()}


@dataclass
class Spike(Within):
    """`channel` jumps up by `value` counts for one look in five."""

    channel: int = 0
    value: int = 5000
    _looks: int = field(default=0, init=False)

    def begin(self, site: Site) -> None:
        _channel(site, self.channel)
        super().begin(site)

    def shown(self, values: dict[int, int]) -> dict[int, int]:
        self._looks += 1
        if self._looks % 5:
            return values
        return _with(values, self.channel, min(0x7FFF, values.get(self.channel, 0) + self.value))


def _kind(
    name: str, line: str, seen: str, make: Callable[..., Fault], sorts: frozenset[str], takes: tuple[str, ...] = ()
) -> Kind:
    return Kind(name, line, seen, sorts, make, takes=takes)


_RELAYS, _INPUTS, _ANALOG = frozenset({RELAYS}), frozenset({INPUTS}), frozenset({ANALOG})
_ONE = ("channel",)
KINDS = (
    _kind("reboot", "loses power, starts again, has forgotten everything and says so",
          "silent for a while; relays off, settings gone", Reboot, EVERY, ("seconds",)),
    _kind("reboot-unsaid", "the relays dropped; the board says what it was told before",
          "said to be on, and off", RebootUnsaid, _RELAYS),
    _kind("relay-stuck-on", "the contact stays closed; coil and mirror contact say so",
          "does not switch off", partial(Contact, closed=True, coil=True), _RELAYS, _ONE),
    _kind("relay-stuck-off", "the contact stays open; the mirror contact says so", "does not switch on",
          partial(Contact, closed=False), _RELAYS, _ONE),
    _kind("welded-says-off", "the contact is welded shut; coil and mirror contact say off",
          "nothing, but the circuit stays live", partial(Contact, closed=True, mirror=False, coil=False),
          _RELAYS, _ONE),
    _kind("welded-says-on", "the contact is welded shut and its mirror contact says so, the coil is off",
          "told off, feedback says on", partial(Contact, closed=True), _RELAYS, _ONE),
    _kind("burnt-says-on", "the contact never closes; its mirror contact says on",
          "said to be on, and nothing happens", partial(Contact, closed=False, mirror=True), _RELAYS, _ONE),
    _kind("mirror-stuck-on", "the mirror contact says on, the relay is sound", "told off, feedback says on",
          partial(Contact, mirror=True), _RELAYS, _ONE),
    _kind("mirror-stuck-off", "the mirror contact says off, the relay is sound",
          "told on, feedback says off", partial(Contact, mirror=False), _RELAYS, _ONE),
    _kind("deaf", "writes are confirmed and not done", "confirmed, but the read-back does not follow", Deaf,
          _RELAYS),
    _kind("next-channel", "writes are confirmed and land one channel further", "the wrong relay clicks",
          NextChannel, _RELAYS),
    _kind("read-back-lags", "what the board says of its coils is old", "the read-back follows late", Lagging,
          _RELAYS, ("seconds",)),
    _kind("input-stuck-open", "an input says open", "a contact that never closes", Stuck, _INPUTS, _ONE),
    _kind("input-stuck-closed", "an input says closed", "a contact that never opens",
          partial(Stuck, value=1), _INPUTS, _ONE),
    _kind("input-chatters", "an input changes at every other look", "a contact that flickers; loose wire?",
          Chatter, _INPUTS, _ONE),
    _kind("inputs-inverted", "open is said to be closed, and closed open", "everything the wrong way round",
          Inverted, _INPUTS),
    _kind("frozen", "all values, or those of one channel, stand still", "values that never change", Frozen,
          frozenset({INPUTS, ANALOG, POWER}), _ONE),
    _kind("analog-stuck-low", "a channel says 0 counts", "a value at the lower end; broken wire?", Stuck,
          _ANALOG, _ONE),
    _kind("analog-stuck-high", "a channel says the highest count",
          "a value at the upper end; broken sensor?", partial(Stuck, value=0x7FFF), _ANALOG, _ONE),
    _kind("analog-spikes", "a channel jumps at one look in five", "a value that jumps; loose wire?", Spike,
          _ANALOG, ("channel", "value")),
)  # fmt: skip
