"""One Modbus link. Several modules share it; one question at a time; after any oddity it is opened anew."""

from __future__ import annotations

import asyncio
import logging
from collections.abc import Awaitable, Callable
from typing import Any

from pymodbus.client import AsyncModbusTcpClient
from pymodbus.exceptions import ModbusException
from pymodbus.pdu import ModbusPDU

from rig.bench.clock import Clock
from rig.bench.ports import Answer, Connection
from rig.errors import BadAnswer, Declined, InputError, NoAnswer

# A module on a field bus answers within 15 to 60 ms (common practice, no source); ten times that is silence.
ANSWER_WITHIN = 0.6
# Opening a TCP connection on the shop's own network; a refused port is known at once, a dead address only by this.
CONNECT_WITHIN = 2.0
# The library's own time limit is never the one that acts: the clock's is.
LIBRARY_GUARD = 30.0

EXCEPTIONS = {
    1: "illegal function",
    2: "illegal data address",
    3: "illegal data value",
    4: "device failure",
    5: "acknowledge",
    6: "device busy",
}

IDENTITY_REGISTER, IDENTITY_COUNT = 0, 8  # the demo modules keep their serial number as text in holding registers

logging.getLogger("pymodbus").setLevel(logging.CRITICAL)  # its faults come back as exceptions; its log garbles screens

Ask = Callable[[AsyncModbusTcpClient], Awaitable[ModbusPDU]]


class ModbusBus:
    """A Modbus TCP client on the bench's clock."""

    def __init__(self, link: str, address: str, clock: Clock) -> None:
        host, _, port = address.rpartition(":")
        if not host or not port.isdigit() or not 0 < int(port) < 65536:
            raise InputError(f"link {link}: expected an address HOST:PORT, found {address!r}", culprit=link)
        self.link = link
        self._host, self._port = host, int(port)
        self._clock = clock
        self._client: AsyncModbusTcpClient | None = None
        self._asking: asyncio.Task[Any] | None = None
        self._lost = False

    async def request(self, name: str, device: int, function: int, ask: Ask) -> Answer[ModbusPDU]:
        """One exchange with one device. Raises NoAnswer, BadAnswer, Declined; the culprit is ``name``."""
        asked = 0.0
        task = asyncio.current_task()
        cancelled_before = 0 if task is None else task.cancelling()

        async def exchange() -> ModbusPDU:
            nonlocal asked
            client = await self._connected(name)
            asked = self._clock.now()
            self._asking = asyncio.current_task()
            self._lost = False
            try:
                return await ask(client)
            except BaseException:
                self._asking = None  # closing tells of a lost link, too, and must not cancel whoever closes
                self._drop()  # the answer may still come, and must not be taken for that of the next question
                raise
            finally:
                self._asking = None

        try:
            pdu = await self._clock.exchange(self.link, exchange, ANSWER_WITHIN)
        except TimeoutError:
            raise NoAnswer(
                f"no answer within {ANSWER_WITHIN:g} s", f"Check power and cable of {self._where()}.", name
            ) from None
        except asyncio.CancelledError:
            if self._lost and task is not None and task.uncancel() <= cancelled_before:
                self._lost = False
                raise NoAnswer(
                    "the connection was closed by the other end", f"Check power and cable of {self._where()}.", name
                ) from None
            raise
        except (ModbusException, OSError) as error:
            raise NoAnswer(f"the link failed ({error})", f"Check power and cable of {self._where()}.", name) from error
        if task is not None and task.cancelling() > cancelled_before:
            # The answer and a cancellation came together, and asyncio.wait_for (Python 3.11) dropped the latter.
            self._drop()
            if self._lost:
                self._lost = False
                task.uncancel()
            if task.cancelling() > cancelled_before:
                raise asyncio.CancelledError
        self._believe(pdu, name, device, function)
        return Answer(pdu, asked, self._clock.now())

    async def identity(self, name: str, device: int) -> str:
        """The serial number that a module carries."""
        answer = await self.request(
            name,
            device,
            3,
            lambda c: c.read_holding_registers(IDENTITY_REGISTER, count=IDENTITY_COUNT, device_id=device),
        )
        data = b"".join(r.to_bytes(2, "big") for r in answer.value.registers)
        return data.decode("ascii", "replace").strip(" \0")

    def close(self) -> None:
        """Let go of the connection."""
        self._drop()

    async def _connected(self, name: str) -> AsyncModbusTcpClient:
        if self._client is not None:
            return self._client
        client = AsyncModbusTcpClient(
            self._host, port=self._port, timeout=LIBRARY_GUARD, retries=0, reconnect_delay=0.1, reconnect_delay_max=2,
            trace_connect=self._link_changed,
        )  # fmt: skip
        try:
            async with asyncio.timeout(CONNECT_WITHIN):
                opened = await client.connect()
        except TimeoutError:
            opened = False
        if not opened:
            client.close()
            raise NoAnswer("cannot be reached", f"Check power, cable and address of {self._where()}.", name)
        self._client = client
        return client

    def _link_changed(self, up: bool) -> None:
        """A peer that dies in mid-request is known here at once; the library itself would wait for its time limit."""
        if not up and self._asking is not None:
            self._lost = True
            self._asking.cancel()

    def _drop(self) -> None:
        client, self._client = self._client, None
        if client is not None:
            client.close()

    def _where(self) -> str:
        return f"link {self.link} ({self._host}:{self._port})"

    def _believe(self, pdu: ModbusPDU, name: str, device: int, function: int) -> None:
        if pdu.isError():
            code = int(getattr(pdu, "exception_code", 0))
            words = EXCEPTIONS.get(code, "unknown exception")
            raise Declined(f"refused: Modbus exception {code}, {words}", "Check the channel in the bench file.", name)
        if pdu.dev_id != device or pdu.function_code != function:
            self._drop()
            raise BadAnswer(
                f"device {pdu.dev_id} answered function {pdu.function_code}, "
                f"asked was device {device}, function {function}",
                f"Check the device numbers on {self._where()}: two modules may have the same.",
                name,
            )


def bus_of(connection: Connection, shared: dict[str, Any]) -> ModbusBus:
    """The bus of a connection's link, made once and shared by all modules on it."""
    key = f"modbus {connection.link_name}"
    bus = shared.get(key)
    if not isinstance(bus, ModbusBus):
        bus = ModbusBus(connection.link_name, connection.link.address, connection.clock)
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

    def bits(self, pdu: ModbusPDU) -> tuple[bool, ...]:
        """The channels' bits; the wire pads them to whole bytes. Raises BadAnswer when some are missing."""
        if len(pdu.bits) < self.channels:
            raise BadAnswer(
                f"answered {len(pdu.bits)} bits, asked were {self.channels}", "Check the number of channels.", self.name
            )
        return tuple(pdu.bits[: self.channels])
