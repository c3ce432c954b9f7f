"""A plain peer that takes whatever looks like an answer: what a wire really carries, byte for byte."""

import asyncio
import os
import tty
from collections.abc import Awaitable, Callable
from dataclasses import dataclass
from typing import Any, cast

from fake_plant import FakePlant
from pymodbus.framer.rtu import FramerRTU

from simulators.plant import Plant
from simulators.station import Station
from simulators.wire.link import SerialAddress, TcpAddress

MODBUS_LIMIT, LINE_LIMIT = 0.6, 5.0  # s: how long the peer waits


@dataclass
class Heard:
    """What came in one exchange, how it ended ("answered", "silence", "cut"), and what it took (s)."""

    data: bytes
    how: str
    seconds: float


class Peer:
    """One connection, or one open serial line. `heard` is what has come and was not yet looked at."""

    def __init__(self, station: Station, link: str) -> None:
        self.station, self.link = station, link
        self.address = station.addresses[link]
        self.serial = isinstance(self.address, SerialAddress)
        self.heard = bytearray()
        self.cut = False
        self._changed = asyncio.Event()
        self._transport: asyncio.Transport | None = None
        self._line = -1

    async def open(self) -> "Peer":
        loop = asyncio.get_running_loop()
        if isinstance(self.address, TcpAddress):
            made, _ = await loop.create_connection(lambda: _Ear(self), *self.address)
            self._transport = cast(asyncio.Transport, made)
        else:
            self._line = os.open(self.address.path, os.O_RDWR | os.O_NOCTTY | os.O_NONBLOCK)
            tty.setraw(self._line)
            loop.add_reader(self._line, self._read_line)
        return self

    def close(self) -> None:
        if self._transport is not None:
            self._transport.abort()
        elif self._line >= 0:
            asyncio.get_running_loop().remove_reader(self._line)
            os.close(self._line)
            self._line = -1

    def write(self, data: bytes) -> None:
        if self._transport is not None:
            self._transport.write(data)
        else:
            os.write(self._line, data)

    def got(self, data: bytes, cut: bool = False) -> None:
        self.heard += data
        self.cut = self.cut or cut
        self._changed.set()

    async def ask(self, request: bytes, limit: float | None = None) -> Heard:
        """One exchange on the clock. What came before it and was not taken is still in `heard`."""
        clock = self.station.clock
        assert clock is not None
        began = clock.now()

        async def exchange() -> str:
            self.write(request)
            while not self._whole():
                if self.cut:
                    return "cut"
                self._changed.clear()
                await self._changed.wait()
            return "answered"

        usual = MODBUS_LIMIT if self.link == "modbus" else LINE_LIMIT
        try:
            how = await clock.exchange(self.link, exchange, usual if limit is None else limit)
        except TimeoutError:
            how = "silence"
        return Heard(await self.take(), how, clock.now() - began)

    async def take(self) -> bytes:
        """All that has come by now."""
        if self.serial:
            await asyncio.sleep(0.003)  # the kernel carries the bytes of a pseudo-terminal in its own time
        for _ in range(4):
            await asyncio.sleep(0)
        data = bytes(self.heard)
        self.heard.clear()
        return data

    def _whole(self) -> bool:
        data = bytes(self.heard)
        if self.link != "modbus":
            return b"\n" in data
        if self.serial:
            size = 5 if len(data) < 3 or data[1] & 0x80 else 5 + data[2] if data[1] < 5 else 8
            return len(data) >= size and FramerRTU.check_CRC(
                data[: size - 2], int.from_bytes(data[size - 2 : size], "big")
            )
        return len(data) >= 8 and len(data) >= 6 + int.from_bytes(data[4:6], "big")

    def _read_line(self) -> None:
        try:
            data = os.read(self._line, 4096)
        except OSError:
            data = b""
        if not data:
            asyncio.get_running_loop().remove_reader(self._line)
        self.got(data, cut=not data)


class _Ear(asyncio.Protocol):
    def __init__(self, peer: Peer) -> None:
        self._peer = peer

    def data_received(self, data: bytes) -> None:
        self._peer.got(data)

    def eof_received(self) -> bool:
        self._peer.got(b"", cut=True)
        return False

    def connection_lost(self, error: Exception | None) -> None:
        self._peer.got(b"", cut=True)


def station_on(plant: FakePlant, **how: Any) -> Station:
    """A station around a plant with nothing behind it."""
    return Station(cast(Plant, plant), **how)


def on_station(work: Callable[[Station, FakePlant], Awaitable[Any]], **how: Any) -> Any:
    """Run with a fresh station; it is closed afterwards, whatever happened."""

    async def run() -> Any:
        plant = FakePlant()
        station = station_on(plant, **how)
        await station.open()
        try:
            return await work(station, plant)
        finally:
            await station.close()

    return asyncio.run(run())


def tcp(pdu: str, device: int = 1, transaction: int = 0x1234) -> bytes:
    """A Modbus TCP frame."""
    data = bytes.fromhex(pdu)
    return transaction.to_bytes(2, "big") + b"\0\0" + (len(data) + 1).to_bytes(2, "big") + bytes([device]) + data


def rtu(pdu: str, device: int = 1) -> bytes:
    """A Modbus RTU frame."""
    data = bytes([device]) + bytes.fromhex(pdu)
    return data + FramerRTU.compute_CRC(data).to_bytes(2, "big")
