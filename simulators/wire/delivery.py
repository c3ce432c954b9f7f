"""When the bytes of one answer leave: an honest answer in one piece, a misbehaved one in many, or late, or never."""

from dataclasses import dataclass, replace
from enum import Enum
from math import inf
from typing import NamedTuple

from simulators.wire import Answer

WITH_THE_NEXT = inf  # a piece that leaves only when the next question has been asked, in front of its answer


class End(Enum):
    """The connection ends."""

    RESET = "reset"
    CLOSE = "close"


class Piece(NamedTuple):
    """Bytes, or the connection's end, so many seconds after the question was heard."""

    after: float
    what: bytes | End


@dataclass(frozen=True)
class Delivery:
    """The pieces in order of time; what the asker waits for; how long the device is busy (seconds)."""

    pieces: tuple[Piece, ...] = ()
    done: float | None = None  # when the asker has its answer; None: never
    busy: float = 0.0
    honest: bool = False  # nobody has bent it; else whether it is taken for an answer is the asker's own affair

    @classmethod
    def of(cls, answer: Answer) -> "Delivery":
        """An honest answer, in one piece."""
        pieces = () if answer.data is None else (Piece(answer.seconds, answer.data),)
        return cls(pieces, None if answer.silent else answer.seconds, answer.seconds, honest=True)

    @property
    def data(self) -> bytes | None:
        """The bytes of an answer that is still in one piece, else None."""
        if len(self.pieces) != 1:
            return None
        what = self.pieces[0].what
        return what if isinstance(what, bytes) else None

    def saying(self, data: bytes) -> "Delivery":
        """Other bytes at the time of the answer (or at the end of the device's work, if it gave none)."""
        at = self.busy if self.done is None else self.done
        return replace(self, pieces=(Piece(at, data),), done=at, honest=False)

    def with_pieces(self, *pieces: Piece, done: float | None) -> "Delivery":
        """Other pieces, in order of time."""
        return replace(self, pieces=pieces, done=done, honest=False)

    def unanswered(self, *pieces: Piece) -> "Delivery":
        """Whatever these pieces are, the asker gets no answer out of them."""
        return replace(self, pieces=pieces, done=None, honest=False)

    def later(self, seconds: float) -> "Delivery":
        """All of it so much later, the device busy for as much longer."""
        pieces = tuple(Piece(piece.after + seconds, piece.what) for piece in self.pieces)
        done = None if self.done is None else self.done + seconds
        return replace(self, pieces=pieces, done=done, busy=self.busy + seconds, honest=False)
