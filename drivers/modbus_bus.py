"""One Modbus link, TCP or serial. Several modules share it; one question at a time.

An answer is believed only when it is the one answer to the question, byte by byte. After a time-out or any oddity the
link is opened anew, a serial line falls silent first, and the module must say who it is before its answers count again.
Only switching off does not wait for that: it is sent at once, and read back by somebody who is believed.
"""

from __future__ import annotations

import asyncio
import logging
from collections.abc import Awaitable, Callable, Sequence
from typing import Any

from pymodbus.exceptions import ModbusException
from pymodbus.pdu import ModbusPDU

from drivers.modbus_frames import Question, question_of
from drivers.modbus_line import Client, Ear, Line, line_of
from drivers.modbus_refusals import refusal
from drivers.order import Order, OutOfOrder
from rig.bench.clock import Clock
from rig.bench.ports import Answer, Connection, Unrecorded, WireRecorder
from rig.errors import BadAnswer, Declined, InputError, InstrumentError, NoAnswer

# A module on a field bus answers within 15 to 60 ms (common practice, no source); ten times that is silence.
ANSWER_WITHIN = 0.6
# Wall seconds to open a connection. Where time is the wall's, the limit of the question acts long before; where it
# stands still meanwhile, this only keeps a machine that is slow for a moment from being taken for a dead one.
CONNECT_WITHIN = 10.0

IDENTITY_REGISTER, IDENTITY_COUNT = 0, 8  # the demo modules keep their serial number as text in holding registers

logging.getLogger("pymodbus").setLevel(logging.CRITICAL)  # its faults come back as exceptions; its log garbles screens

Send = Callable[[Client], Awaitable[ModbusPDU]]


class ModbusBus:
    """A Modbus client on the bench's clock. ``note`` is told of every oddity."""

    def __init__(
        self,
        link: str,
        line: Line,
        clock: Clock,
        note: Callable[[str], None] = lambda text: None,
        recorder: WireRecorder | None = None,  # None: nothing is kept
    ) -> None:
        self.link, self._line, self._clock, self._note = link, line, clock, note
        self._recorder: WireRecorder = recorder or Unrecorded()
        self._asked_of = ""  # the module whose exchange this is, or was
        self._client: Client | None = None
        self._ear = Ear(line, self._spoilt, None if recorder is None else self._passes)
        self._asking: asyncio.Task[Any] | None = None
        self._cut = ""  # why the exchange that is under way was cut short from within
        self._order = Order(line.where, line.silence, clock, note)
        self._said: dict[int, str] = {}  # who each device said that it is
        self._rested_at = 0.0

    # what modules ask

    async def read_bits(
        self, name: str, device: int, function: int, first: int, count: int
    ) -> Answer[tuple[bool, ...]]:
        """Coils (function 1) or inputs (2). Raises NoAnswer, BadAnswer, Declined; the culprit is ``name``."""

        def send(client: Client) -> Awaitable[ModbusPDU]:
            read = client.read_coils if function == 1 else client.read_discrete_inputs
            return read(first, count=count, device_id=device)

        answer = await self._ask(name, question_of(device, function, count), send)
        return Answer(tuple(answer.value.bits[:count]), answer.asked, answer.had)

    async def read_registers(
        self, name: str, device: int, function: int, first: int, count: int
    ) -> Answer[tuple[int, ...]]:
        """Holding registers (function 3) or input registers (4). Raises as ``read_bits``."""

        def send(client: Client) -> Awaitable[ModbusPDU]:
            read = client.read_holding_registers if function == 3 else client.read_input_registers
            return read(first, count=count, device_id=device)

        answer = await self._ask(name, question_of(device, function, count), send)
        return Answer(tuple(answer.value.registers), answer.asked, answer.had)

    async def write_bit(self, name: str, device: int, channel: int, on: bool) -> Answer[None]:
        """One coil (function 5). Raises as ``read_bits``."""
        answer = await self._ask(
            name, question_of(device, 5, 1), lambda c: c.write_coil(channel, on, device_id=device), urgent=not on
        )
        return Answer(None, answer.asked, answer.had)

    async def write_bits(self, name: str, device: int, on: Sequence[bool]) -> Answer[None]:
        """All coils from 0 on (function 15). Raises as ``read_bits``."""
        answer = await self._ask(
            name, question_of(device, 15, len(on)), lambda c: c.write_coils(0, list(on), device_id=device),
            urgent=not any(on),
        )  # fmt: skip
        return Answer(None, answer.asked, answer.had)

    async def write_register(self, name: str, device: int, register: int, value: int) -> Answer[None]:
        """One holding register (function 6). Raises as ``read_bits``."""
        answer = await self._ask(
            name, question_of(device, 6, 1), lambda c: c.write_register(register, value, device_id=device)
        )
        return Answer(None, answer.asked, answer.had)

    async def identity(self, name: str, device: int) -> str:
        """The serial number that a module carries; the link is in order when it is the same as before."""
        answer = await self._ask(name, *_who(device))
        self._said[device] = said = _text(answer.value)
        return said

    def close(self) -> None:
        """Let go of the connection."""
        self._drop()

    # one exchange

    async def _ask(self, name: str, question: Question, send: Send, urgent: bool = False) -> Answer[ModbusPDU]:
        """One question and its answer; first the link is put in order where it must be."""
        while True:
            try:
                answer = await self._exchange(name, question, send, urgent)
                break
            except OutOfOrder:  # nothing was sent yet
                await self._order.restore(lambda: self._confirm(name, question.device))
        pdu = answer.value
        if pdu.isError():
            raise Declined(*refusal(int(getattr(pdu, "exception_code", 0))), name)
        return answer

    async def _confirm(self, name: str, device: int) -> None:
        """The module says who it is, and it is who it was. Raises NoAnswer, BadAnswer."""
        answer = await self._exchange(name, *_who(device), confirming=True)
        said = None if answer.value.isError() else _text(answer.value)  # a module without a number refuses, and lives
        before = self._said.get(device, said)
        if said != before:
            self._order.odd(f"device {device} says that it is {said}, it was {before}")
            raise BadAnswer(f"is {said} now, and was {before}", f"Check the modules on {self._line.where}.", name)

    async def _exchange(
        self, name: str, question: Question, send: Send, urgent: bool = False, confirming: bool = False
    ) -> Answer[ModbusPDU]:
        """One question and its answer, believed. Raises NoAnswer, BadAnswer; OutOfOrder, with nothing sent, while the
        link is in doubt and this is neither urgent nor what puts it in order."""
        asked = had = 0.0
        task = asyncio.current_task()
        cancelled_before = 0 if task is None else task.cancelling()
        begun = False

        async def exchange() -> ModbusPDU:
            nonlocal asked, begun
            if self._line.rest:
                await self._rest()
            if self._ear.unasked and not self._order.doubt:
                self._order.odd(f"{self._ear.unasked} bytes came that nobody had asked for")
            if not (urgent or confirming):
                self._order.refuse()
            if confirming:
                self._drop()
            begun = True
            client = self._client or await self._connected(name)
            asked = self._clock.now()
            self._asking, self._cut, self._asked_of = task, "", name
            self._ear.ask(question)
            try:
                pdu = await send(client)
                if self._ear.noise:
                    self._note(f"{self._line.where}: {self._ear.noise} bytes of noise before an answer of {name}")
                return pdu
            except BaseException:
                self._asking = None  # closing tells of a lost link, too, and must not cancel whoever closes
                self._drop()  # the answer may still come, and must not be taken for that of the next question
                raise
            finally:
                self._asking = None
                self._ear.rest()
                self._rested_at = self._clock.now() + self._line.rest

        try:
            pdu = await self._clock.exchange(self.link, exchange, ANSWER_WITHIN)
            had = self._clock.now()
        except TimeoutError:
            self._drop()
            raise self._unanswered(name, question, f"no answer within {ANSWER_WITHIN:g} s") from None
        except asyncio.CancelledError:
            if self._cut and begun and task is not None and task.uncancel() <= cancelled_before:
                raise self._unanswered(name, question, self._cut) from None
            if begun:
                self._order.odd("a question was broken off")
            raise
        except (ModbusException, OSError) as error:
            raise self._unanswered(name, question, "the connection was lost") from error
        except NoAnswer as error:
            self._order.odd(f"{name}: {error.what}")
            raise
        finally:
            self._recorder.over(had or asked)
        if task is not None and task.cancelling() > cancelled_before:
            self._honour_cancellation(task, cancelled_before)
        return Answer(pdu, asked, had)

    async def _rest(self) -> None:
        """What lies between two frames on a serial line, and what came meanwhile is heard."""
        await self._clock.sleep_until(self._rested_at)
        await asyncio.sleep(0)  # bytes that lie ready are heard one turn of the loop later,
        await asyncio.sleep(0)  # after whoever waits for that turn

    def _honour_cancellation(self, task: asyncio.Task[Any], before: int) -> None:
        """The answer and a cancellation came together, and asyncio.wait_for (Python 3.11) dropped the latter."""
        self._drop()
        self._order.odd("a question was broken off")
        if self._cut:
            self._cut = ""
            task.uncancel()
        if task.cancelling() > before:
            raise asyncio.CancelledError

    def _unanswered(self, name: str, question: Question, what: str) -> InstrumentError:
        """The error for a question without an answer; whatever did come instead says more than the silence."""
        self._cut = ""
        do = f"Check power and cable of {self._line.where}."
        heard = self._ear.heard
        if not heard:
            self._order.odd(f"{name}: {what}")
            return NoAnswer(what, do, name)
        flaw = self._line.flaw(heard, self._ear.sent, question)
        why = "what came could not be read" if flaw is None else flaw.why
        self._order.odd(f"{name}: {why}")
        return BadAnswer(f"the answer cannot be believed: {why}", do, name)

    # the connection

    async def _connected(self, name: str) -> Client:
        client = self._line.client(self._ear.packet, self._link_changed)
        try:
            async with asyncio.timeout(CONNECT_WITHIN):
                opened = await client.connect()
        except TimeoutError:
            opened = False
        if not opened:
            client.close()
            raise NoAnswer(*self._line.unreached(), name)
        self._client = client
        return client

    def _link_changed(self, up: bool) -> None:
        """A peer that dies in mid-request is known here at once; the library itself would wait for its time limit, and
        one that dies between two requests would be reached again without a word."""
        if up:
            return
        if self._asking is not None or self._client is not None:
            self._recorder.ended(self._asked_of, "close", self._clock.now())
        if self._asking is not None:
            self._cut_short("the connection was closed by the other end")
        elif self._client is not None:
            self._order.odd("the connection was closed by the other end")

    def _spoilt(self) -> None:
        """What came is no answer, and more of it cannot become one: waiting longer tells nothing."""
        self._cut_short("what came is no answer")

    def _cut_short(self, why: str) -> None:
        if self._asking is not None and not self._cut:
            self._cut = why
            self._asking.cancel()

    def _passes(self, sending: bool, data: bytes) -> None:
        keep = self._recorder.asked if sending else self._recorder.said
        keep(self._asked_of, data, self._clock.now())

    def _drop(self) -> None:
        client, self._client = self._client, None
        self._ear.opened()
        if client is not None:
            client.close()


def _who(device: int) -> tuple[Question, Send]:
    """The question after a module's serial number."""

    def send(client: Client) -> Awaitable[ModbusPDU]:
        return client.read_holding_registers(IDENTITY_REGISTER, count=IDENTITY_COUNT, device_id=device)

    return question_of(device, 3, IDENTITY_COUNT), send


def _text(pdu: ModbusPDU) -> str:
    data = b"".join(r.to_bytes(2, "big") for r in pdu.registers)
    return data.decode("ascii", "replace").strip(" \0")


def bus_of(connection: Connection, shared: dict[str, Any]) -> ModbusBus:
    """The bus of a connection's link, made once and shared by all modules on it."""
    key = f"modbus {connection.link_name}"
    bus = shared.get(key)
    if not isinstance(bus, ModbusBus):
        line = line_of(connection.link_name, connection.link)
        recorder = connection.recorder(line.wire, line.words)
        kept = None if isinstance(recorder, Unrecorded) else recorder
        bus = ModbusBus(connection.link_name, line, connection.clock, connection.note, kept)
        shared[key] = bus
    return bus


class Module:
    """What every Modbus module has: a name, a device number, a number of channels, a bus."""

    def __init__(self, connection: Connection, shared: dict[str, Any]) -> None:
        spec = connection.spec
        if spec.device is None or spec.channels is None:
            raise InputError(f"instrument {connection.name}: expected device and channels", culprit=connection.name)
        self.name, self.device, self.channels = connection.name, spec.device, spec.channels
        self.bus = bus_of(connection, shared)

    async def identify(self) -> str:
        return await self.bus.identity(self.name, self.device)

    async def close(self) -> None:
        self.bus.close()
