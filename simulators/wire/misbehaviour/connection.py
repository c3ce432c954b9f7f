"""Connections that are refused, cut, half open, or not wanted."""

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from typing import ClassVar

from simulators.wire.delivery import Delivery, End, Piece
from simulators.wire.fault import EVERY, TCP, Exchange, Fault, Kind, Site
from simulators.wire.tcp import Door, TcpListener


def _tcp(site: Site) -> TcpListener:
    if not isinstance(site.listener, TcpListener):
        raise ValueError(f"{site.name} is not on TCP")
    return site.listener


class Refused(Fault):
    """Nobody listens; who is connected is thrown out."""

    whole_link: ClassVar[bool] = True
    counted: ClassVar[bool] = False

    def begin(self, site: Site) -> None:
        site.listener.shut()

    def end(self, site: Site) -> None:
        site.listener.reopen()


@dataclass
class AtTheDoor(Fault):
    """The listener accepts and resets: everybody, or whoever is not the first; who is in already may stay."""

    first_may_stay: bool = False
    whole_link: ClassVar[bool] = True
    counted: ClassVar[bool] = False

    def begin(self, site: Site) -> None:
        listener = _tcp(site)
        listener.door = Door.ONE if self.first_may_stay else Door.DROPS
        if not self.first_may_stay:
            listener.drop_all()

    def end(self, site: Site) -> None:
        _tcp(site).door = Door.OPEN


class HalfOpen(Fault):
    """Connections are accepted and requests are read, but nobody is there any more."""

    stage: ClassVar[int] = 2
    whole_link: ClassVar[bool] = True

    def acts(self, exchange: Exchange) -> bool:
        return False

    def bend(self, exchange: Exchange, delivery: Delivery) -> Delivery:
        return Delivery()


@dataclass
class Ends(Fault):
    """The connection ends `how` instead of an answer; after half of it, or all of it."""

    how: End = End.RESET
    acting: bool = False
    share: float = 0.0  # of the answer that still leaves
    stage: ClassVar[int] = 2

    def acts(self, exchange: Exchange) -> bool:
        return self.acting

    def bend(self, exchange: Exchange, delivery: Delivery) -> Delivery:
        at = delivery.busy if delivery.done is None else delivery.done
        data = delivery.data or b""
        said = data[: round(len(data) * self.share)]
        pieces = ([Piece(at, said)] if said else []) + [Piece(at, self.how)]
        return delivery.with_pieces(*pieces, done=at)


def _kind(name: str, line: str, seen: str, make: Callable[..., Fault]) -> Kind:
    return Kind(name, line, seen, EVERY, make, TCP)


KINDS = (
    _kind("refused", "nobody listens at the address any more",
          "connection refused; switched off, or wrong address?", Refused),
    _kind("dropped-at-the-door", "connections are accepted and reset at once",
          "opens, then fails with the first question", AtTheDoor),
    _kind("one-at-a-time", "a second connection is reset while the first lives",
          "cannot be reached again after a time-out", partial(AtTheDoor, first_may_stay=True)),
    Kind("half-open", "connections are accepted, nobody answers",
         "connected, but nothing on the link answers", EVERY, HalfOpen),
    _kind("reset", "the connection is reset instead of an answer",
          "the connection was closed by the other end", Ends),
    _kind("reset-after-acting", "the device obeys, then the connection is reset",
          "connection closed, yet the relay clicked", partial(Ends, acting=True)),
    _kind("reset-in-mid-answer", "half an answer, then a reset", "the answer breaks off, connection closed",
          partial(Ends, acting=True, share=0.5)),
    _kind("hang-up", "the connection is closed instead of an answer",
          "the connection was closed by the other end", partial(Ends, how=End.CLOSE)),
    _kind("hang-up-after", "answers, then closes the connection",
          "works, but each time needs a new connection",
          partial(Ends, how=End.CLOSE, acting=True, share=1.0)),
)  # fmt: skip
