"""A wire's far end: what is heard, and what misbehaviour makes of the answer. How bytes come in is in `tcp` and
`serial`, when they leave in `mouth`."""

import asyncio
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass
from math import inf
from typing import NamedTuple, Protocol

from simulators.wire import Answer, FarEnd, Pace, Question
from simulators.wire.delivery import Delivery
from simulators.wire.fault import Exchange
from simulators.wire.log import WireLog
from simulators.wire.mischief import Mischief

# Wall seconds that an asker gets to take bent bytes for its answer, before the clock calls it silence: far
# more than a program on the same machine needs, far less than a person notices.
GRACE = 0.05
REMEMBERED = 32  # exchanges that a device with old answers can choose from


class TcpAddress(NamedTuple):
    """Where a TCP listener is."""

    host: str
    port: int

    @property
    def kind(self) -> str:
        """ "tcp"."""
        return "tcp"

    def __str__(self) -> str:
        return f"{self.host}:{self.port}"


@dataclass(frozen=True)
class SerialAddress:
    """A serial line: the path of its device file, and how it is to be set (e.g. 19200 baud, "8N2")."""

    path: str
    baud: int
    character: str

    @property
    def kind(self) -> str:
        """ "serial"."""
        return "serial"

    def __str__(self) -> str:
        return self.path


Address = TcpAddress | SerialAddress


class Heard(NamedTuple):
    """A request that has been acted on: whose it was, and what leaves for it."""

    instrument: str
    delivery: Delivery


class Listener(Protocol):
    """Where the bytes of a link go in and out."""

    link: "Link"

    async def open(self) -> Address:
        """Listen; returns the address."""

    def shut(self) -> None:
        """Stop listening and abort what is connected. Safe to call twice."""

    def reopen(self) -> None:
        """Listen again at the same address. Raises ValueError where that cannot be, OSError where it is taken."""

    def drop_all(self) -> None:
        """Abort what is connected."""

    async def close(self) -> None:
        """Shut, and forget late bytes. Safe to call twice."""


class Link:
    """A far end, its name, its pace, and what is remembered of its exchanges. A listener lets bytes in and out."""

    def __init__(
        self,
        name: str,
        far_end: FarEnd,
        pace: Pace,
        counts: dict[str, int],
        longest_wait: float = inf,
        mischief: Mischief | None = None,
        log: WireLog | None = None,
    ) -> None:
        self.name = name
        self.far_end = far_end
        self.pace = pace
        self.busy = asyncio.Lock()  # at real pace: one exchange at a time
        self.log = log
        self.history: deque[tuple[bytes, bytes | None]] = deque(maxlen=REMEMBERED)
        self.couriers: set[asyncio.Task[None]] = set()  # late bytes that are under way
        self.timed: Callable[[bytes, Delivery], Delivery] | None = None  # what a slow wire adds to the times
        self.told: Callable[[], None] | None = None  # after every exchange
        self._counts = counts
        self._longest_wait = longest_wait  # wall seconds
        self._mischief = mischief

    def hear(self, request: bytes) -> Heard:
        """Count a request, let the far end act on it, and whoever misbehaves bend the answer."""
        if self.name in self._counts:
            self._counts[self.name] += 1
        watched = self.log is not None or (self._mischief is not None and self._mischief.active)
        if watched:
            instrument, delivery = self._hear_watched(request)
        else:
            instrument, delivery = "", self._honest(request)
        if self.told is not None:
            self.told()
        return Heard(instrument, delivery if self.timed is None else self.timed(request, delivery))

    def _hear_watched(self, request: bytes) -> tuple[str, Delivery]:
        question = self.far_end.question(request)
        if self.log is not None:
            self.log.asked(self.name, question.instrument, request, self.far_end.frames, self.pace.now())
        if self._mischief is None or not self._mischief.active:
            return question.instrument, self._honest(request)
        faults = self._mischief.against(question, self.name)
        exchange = self._exchange(request, question)
        acts = all(fault.acts(exchange) for fault in faults)
        answer = self.far_end.serve(request, exchange.now) if acts else Answer(None, silent=True)
        delivery = Delivery.of(answer)
        for fault in faults:
            delivery = fault.bend(exchange, delivery)
        self.history.append((request, answer.data))
        self._mischief.settle()
        return question.instrument, delivery

    def _honest(self, request: bytes) -> Delivery:
        answer = self.far_end.serve(request, self.pace.now())
        self.history.append((request, answer.data))
        return Delivery.of(answer)

    def _exchange(self, request: bytes, question: Question) -> Exchange:
        patience = inf
        if self.pace.clock is not None:
            declared, limit = self.pace.clock.on_wire(self.name)
            patience = limit - declared
        return Exchange(request, question, self.far_end, self.pace.now(), patience, self.history)

    def silence(self) -> None:
        """Whatever was asked gets no answer, because it was no request, or its connection is gone."""
        if self.pace.clock is not None:
            self.pace.clock.declare_silence(self.name, GRACE)

    def wall_seconds(self, seconds: float) -> float:
        """How long something takes at real pace."""
        return min(seconds / self.pace.speed, self._longest_wait)

    async def let_go(self) -> None:
        """Late bytes that are still under way never arrive."""
        couriers = list(self.couriers)
        for courier in couriers:
            courier.cancel()
        if couriers:
            await asyncio.wait(couriers)
