"""When answers come, or in which pieces: silence, lateness, halves, doubles, echoes, and answers to other questions."""

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from functools import partial
from typing import ClassVar

from simulators.wire.delivery import WITH_THE_NEXT, Delivery, Piece
from simulators.wire.fault import EVERY, Exchange, Fault, Kind, Reading

# Bytes that mean nothing anywhere: line noise, a wrong baud rate, another protocol's tail (invented).
NOISE = bytes.fromhex("00 fe 81 55 3f")


class Timed(Fault):
    """A fault of when and how often bytes leave."""

    stage: ClassVar[int] = 1


class Silence(Timed):
    """The device is dead to the request."""

    def acts(self, exchange: Exchange) -> bool:
        return False

    def bend(self, exchange: Exchange, delivery: Delivery) -> Delivery:
        return Delivery()


class AnswerLost(Timed):
    """The device obeys; its answer gets lost."""

    def bend(self, exchange: Exchange, delivery: Delivery) -> Delivery:
        return delivery.unanswered()


@dataclass
class Late(Timed):
    """`seconds` later, by default less than the asker waits."""

    seconds: float | None = None

    def bend(self, exchange: Exchange, delivery: Delivery) -> Delivery:
        return delivery.later(exchange.within if self.seconds is None else self.seconds)


@dataclass
class VeryLate(Timed):
    """Under way for `seconds`, by default just longer than the asker waits; the device is free meanwhile."""

    seconds: float | None = None

    def bend(self, exchange: Exchange, delivery: Delivery) -> Delivery:
        after = exchange.beyond if self.seconds is None else self.seconds
        late = tuple(Piece(max(after, piece.after), piece.what) for piece in delivery.pieces)
        return delivery.with_pieces(*late, done=None if delivery.done is None else max(after, delivery.done))


class HeldBack(Timed):
    """Kept until the next question, then in front of its answer."""

    def bend(self, exchange: Exchange, delivery: Delivery) -> Delivery:
        return delivery.unanswered(*(Piece(WITH_THE_NEXT, piece.what) for piece in delivery.pieces))


class Half(Timed):
    """The first half, and nothing more."""

    def bend(self, exchange: Exchange, delivery: Delivery) -> Delivery:
        if (data := delivery.data) is None:
            return delivery.unanswered()
        return delivery.unanswered(Piece(delivery.busy, data[: len(data) // 2]))


class HalfThenLate(Timed):
    """The first half; the rest in front of the next answer."""

    def bend(self, exchange: Exchange, delivery: Delivery) -> Delivery:
        if (data := delivery.data) is None:
            return delivery.unanswered()
        middle = len(data) // 2
        return delivery.unanswered(Piece(delivery.busy, data[:middle]), Piece(WITH_THE_NEXT, data[middle:]))


@dataclass
class Pause(Timed):
    """A pause of `seconds` in the middle of the frame."""

    seconds: float | None = None

    def bend(self, exchange: Exchange, delivery: Delivery) -> Delivery:
        if (data := delivery.data) is None:
            return delivery
        middle, at = len(data) // 2, delivery.pieces[0].after
        end = at + (exchange.within if self.seconds is None else self.seconds)
        return delivery.with_pieces(Piece(at, data[:middle]), Piece(end, data[middle:]), done=end)


@dataclass
class Drip(Timed):
    """One byte every `seconds`; the device is busy with it."""

    seconds: float | None = 0.002

    def bend(self, exchange: Exchange, delivery: Delivery) -> Delivery:
        if (data := delivery.data) is None:
            return delivery
        at = delivery.pieces[0].after
        gap = 2.0 * exchange.beyond / len(data) if self.seconds is None else self.seconds
        end = at + gap * (len(data) - 1)
        drops = (Piece(at + gap * k, data[k : k + 1]) for k in range(len(data)))
        return replace(delivery.with_pieces(*drops, done=end), busy=max(delivery.busy, end))


class Twice(Timed):
    """The same answer again, right behind itself."""

    def bend(self, exchange: Exchange, delivery: Delivery) -> Delivery:
        return delivery.with_pieces(*delivery.pieces, *delivery.pieces, done=delivery.done)


class TwiceLater(Timed):
    """The same answer again, in front of the next one."""

    def bend(self, exchange: Exchange, delivery: Delivery) -> Delivery:
        again = (Piece(WITH_THE_NEXT, piece.what) for piece in delivery.pieces)
        return delivery.with_pieces(*delivery.pieces, *again, done=delivery.done)


@dataclass
class Garbage(Timed):
    """Bytes without meaning `before` the answer, `behind` it, or both; `instead` of it with `alone`."""

    before: bool = False
    behind: bool = False
    alone: bool = False

    def acts(self, exchange: Exchange) -> bool:
        return not self.alone

    def bend(self, exchange: Exchange, delivery: Delivery) -> Delivery:
        data = b"" if self.alone else delivery.data
        if data is None:
            return delivery
        said = (NOISE if self.before or self.alone else b"") + data + (NOISE if self.behind else b"")
        return delivery.saying(said)


@dataclass
class Echo(Timed):
    """The line gives back what was sent; with `dead` that is all, because the device is off."""

    dead: bool = False

    def acts(self, exchange: Exchange) -> bool:
        return not self.dead

    def bend(self, exchange: Exchange, delivery: Delivery) -> Delivery:
        echo = exchange.request + (b"\n" if exchange.text else b"")
        if self.dead:
            return delivery.saying(echo)
        if delivery.data is None:
            return delivery.unanswered(Piece(0.0, echo))
        return delivery.with_pieces(Piece(0.0, echo), *delivery.pieces, done=delivery.done)


class PreviousAnswer(Reading):
    """What the instrument said to the same question before, under this question's number."""

    def bend(self, exchange: Exchange, delivery: Delivery) -> Delivery:
        old = exchange.earlier(same_function=True)
        if old is None:
            return delivery
        frames = exchange.far_end.frames
        frame = frames.split(old)
        if frame is not None:
            old = frames.join(frame._replace(transaction=exchange.frame().transaction))
        return delivery.saying(old)


@dataclass
class OneBehind(Timed):
    """Every answer waits until the next question, from now on: each question gets the one before."""

    _kept: bytes | None = field(default=None, init=False)

    def bend(self, exchange: Exchange, delivery: Delivery) -> Delivery:
        if (data := delivery.data) is None:
            return delivery
        said, self._kept = self._kept, data
        return delivery.unanswered() if said is None else delivery.saying(said)


def _kind(name: str, line: str, seen: str, make: Callable[..., Fault], takes: tuple[str, ...] = ()) -> Kind:
    return Kind(name, line, seen, EVERY, make, takes=takes)


_TIME = ("seconds",)


KINDS = (
    _kind("silence", "the request is not acted on and not answered", "no answer; power or cable?", Silence),
    _kind("answer-lost", "the request is acted on, its answer gets lost", "no answer, yet the relay clicked",
          AnswerLost),
    _kind("late", "the answer is late, but comes while the asker waits",
          "the bench is slow; times are less sharp", Late, _TIME),
    _kind("very-late", "the answer comes after the asker has given up", "no answer, then perhaps an old one",
          VeryLate, _TIME),
    _kind("held-back", "the answer comes in front of the next one", "no answer, then perhaps an old one",
          HeldBack),
    _kind("half", "half an answer, then nothing", "the answer breaks off; plug or cable?", Half),
    _kind("half-then-late", "half an answer; the rest in front of the next one",
          "one answer breaks off, the next is garbled", HalfThenLate),
    _kind("pause", "a pause in the middle of the answer", "an answer in two parts; a slow adapter?", Pause,
          _TIME),
    _kind("drip", "the answer drips in byte by byte", "the bench is slow; a bad radio link?", Drip, _TIME),
    _kind("drip-too-slow", "the answer drips in; half-way the asker gives up",
          "no whole answer; a bad radio link?", partial(Drip, seconds=None)),
    _kind("twice", "the answer comes twice", "the next question gets an old answer", Twice),
    _kind("twice-later", "the answer comes again in front of the next one",
          "the next question gets an old answer", TwiceLater),
    _kind("garbage-before", "noise in front of the answer", "a garbled answer; noise on the line?",
          partial(Garbage, before=True)),
    _kind("garbage-behind", "noise behind the answer", "a garbled answer, this one or the next",
          partial(Garbage, behind=True)),
    _kind("garbage", "noise, and no answer", "nothing but garbage; wrong baud rate?",
          partial(Garbage, alone=True)),
    _kind("echo", "the request comes back in front of the answer",
          "the question is taken for the answer; adapter's echo on?", Echo),
    _kind("echo-of-the-dead", "the request comes back; the device itself is off",
          "writes look confirmed, nothing switches", partial(Echo, dead=True)),
    _kind("previous-answer", "a reading is the one from before, as if new",
          "a value that lags by one reading", PreviousAnswer),
    _kind("one-behind", "each question gets the answer to the one before", "all readings are shifted by one",
          OneBehind),
)  # fmt: skip
