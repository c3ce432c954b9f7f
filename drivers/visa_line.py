"""One instrument that speaks in lines, over VISA, on the bench's clock: a line asked, a line answered, in order."""

from __future__ import annotations

import asyncio
from collections.abc import Callable

from drivers.order import Order, OutOfOrder
from drivers.visa_faults import refuse_unusable
from drivers.visa_thread import VisaLink
from rig.bench.ports import Answer, Connection, text_words
from rig.errors import BadAnswer, InstrumentError, NoAnswer

SERIAL_SILENCE = 0.5  # s until nothing more comes on a serial line; a socket that is opened anew starts empty


class VisaLine:
    """``who`` asks for the instrument's name, ``known`` tells an answer to it from anything else, ``within`` (s) is how
    long an answer may take."""

    def __init__(self, connection: Connection, who: str, known: Callable[[str], bool], within: float) -> None:
        self.name = connection.name
        self._clock, self._link_name = connection.clock, connection.link_name
        self._connection, self._who, self._known, self._within = connection, who, known, within
        self._resource = connection.link.address
        self._link: VisaLink | None = None
        refuse_unusable(self._resource, self._link_name)
        self._recorder = connection.recorder("lines", text_words)
        self._said = ""
        self._serial = self._resource.upper().startswith("ASRL")
        where = f"link {self._link_name} ({self._resource})"
        self.order = Order(where, SERIAL_SILENCE if self._serial else 0.0, connection.clock, connection.note)
        self._do = f"Check power and cable of {where}."
        self.openings = 0  # how often it was opened: what was set up before is not known to hold any more

    async def ask(self, line: str) -> Answer[str]:
        """One line and its answer; first the link is put in order where it must be. Raises NoAnswer, BadAnswer."""
        while True:
            try:
                return await self._exchange(line)
            except OutOfOrder:  # nothing was sent yet
                await self.order.restore(self._confirm)

    async def identity(self) -> str:
        """What it says of itself. Raises NoAnswer, BadAnswer."""
        said = (await self.ask(self._who)).value
        if not self._known(said):
            raise self.not_believed(f"asked for its name it says {said[:60]!r}")
        self._said = said
        return said

    def not_believed(self, why: str) -> BadAnswer:
        """The error for an answer that cannot be; the link is in doubt from now on."""
        self.order.odd(f"{self.name}: {why}")
        return BadAnswer(f"the answer cannot be believed: {why}", self._do, self.name)

    def drop(self) -> None:
        """Let go of the link."""
        link, self._link = self._link, None
        if link is not None:
            link.drop()

    def _heard(self, data: bytes) -> None:
        self._recorder.said(self.name, data, self._clock.now())

    async def _confirm(self) -> None:
        said = (await self._exchange(self._who, confirming=True)).value
        if said != (self._said or said) or not self._known(said):
            raise self.not_believed(f"asked for its name it says {said[:60]!r}, it was {self._said[:60]!r}")

    async def _exchange(self, line: str, confirming: bool = False) -> Answer[str]:
        asked, had, begun = 0.0, 0.0, False

        async def exchange() -> str:
            nonlocal asked, begun
            if confirming:
                self.drop()
            else:
                self.order.refuse()
            begun = True
            if self._link is None:
                self._link = VisaLink(self._resource, self.name, self._connection.link, self._heard)
                self.openings += 1
            if confirming and self._serial:
                await self._link.drain()
            asked = self._clock.now()
            self._recorder.asked(self.name, line.encode(), asked)
            try:
                return await self._link.query(line)
            except BaseException:
                self.drop()  # its answer may still come, and must not be taken for that of the next question
                raise

        try:
            text = await self._clock.exchange(self._link_name, exchange, self._within)
            had = self._clock.now()
        except TimeoutError:
            self.drop()
            what = f"no answer within {self._within:g} s"
            self.order.odd(f"{self.name}: {what}")
            raise NoAnswer(what, self._do, self.name) from None
        except InstrumentError as error:
            if isinstance(error, NoAnswer):
                self._recorder.ended(self.name, "close", self._clock.now())
            self.order.odd(f"{self.name}: {error.what}")
            raise
        except asyncio.CancelledError:
            if begun:
                self.order.odd("a question was broken off")
            raise
        finally:
            self._recorder.over(had or asked)
        return Answer(text.strip(), asked, had)
