"""A Modbus module at the byte level, on TCP or on a pseudo-terminal, that lies when told to.

Nothing of the drivers' own code is in it; checksums are pymodbus's.
"""

from __future__ import annotations

import asyncio
import contextlib
import os
import struct
import tty
from collections import deque
from collections.abc import AsyncIterator, Callable

from pymodbus.framer import FramerRTU

from simulators.clock import LockstepClock

LINK = "modbus"
Deed = Callable[["FarEnd", bytes, Callable[[bytes], None]], None]


class FarEnd:
    """Coils, inputs and registers of devices 1 to 4. ``deeds`` are done to the next requests, one each; then it is
    honest. ``serve`` gets whole requests."""

    def __init__(self, clock: LockstepClock, rtu: bool) -> None:
        self.clock, self.rtu = clock, rtu
        self.deeds: deque[Deed] = deque()
        self.requests: list[bytes] = []  # device, function, data
        self.coils = {1: [False] * 24, 4: [False] * 24}
        self.inputs = [n % 3 == 0 for n in range(24)]
        self.registers = [100 * n + 7 for n in range(12)]
        self.names = {1: "SIM-R1", 2: "SIM-I1", 3: "SIM-A1", 4: "SIM-R2"}
        self.late: list[bytes] = []
        self.hang_up: Callable[[], None] = lambda: None
        self.again: Callable[[], None] = lambda: None

    # frames

    def split(self, frame: bytes) -> tuple[bytes, bytes]:
        """Transaction (nothing on a serial line) and the rest from the device on."""
        return (b"", frame[:-2]) if self.rtu else (frame[:2], frame[6:])

    def frame(self, transaction: bytes, body: bytes) -> bytes:
        if self.rtu:
            return body + FramerRTU.compute_CRC(body).to_bytes(2, "big")
        return transaction + b"\0\0" + struct.pack(">H", len(body)) + body

    def length(self, buffer: bytes) -> int | None:
        """Bytes of the request that the buffer begins with, None while that is not known."""
        if not self.rtu:
            return 6 + int.from_bytes(buffer[4:6], "big") if len(buffer) >= 6 else None
        if len(buffer) < 7:
            return None
        return 8 if buffer[1] not in (15, 16) else 9 + buffer[6]

    # honesty

    def serve(self, request: bytes, send: Callable[[bytes], None]) -> None:
        self.requests.append(self.split(request)[1])
        deed = self.deeds.popleft() if self.deeds else answer
        deed(self, request, send)

    def honest(self, request: bytes) -> bytes:
        """Do what is asked and make the answer."""
        transaction, body = self.split(request)
        return self.frame(transaction, body[:1] + self._obey(body[0], body[1], body[2:]))

    def _obey(self, device: int, function: int, data: bytes) -> bytes:
        first, value = struct.unpack(">HH", data[:4])
        if device not in self.names:
            return bytes([function | 0x80, 4])
        if function == 3 and first == 0:
            return bytes([3, 2 * value]) + self.names[device].encode().ljust(2 * value, b"\0")
        if function == 4 and first + value <= len(self.registers):
            return bytes([4, 2 * value]) + struct.pack(f">{value}H", *self.registers[first : first + value])
        if function in (1, 2):
            bits = (self.coils[device] if function == 1 else self.inputs)[first : first + value]
            packed = sum(on << n for n, on in enumerate(bits)).to_bytes((value + 7) // 8, "little")
            return bytes([function, len(packed)]) + packed
        if function == 5:
            self.coils[device][first] = value == 0xFF00
            return bytes([5]) + data[:4]
        if function == 15:
            bits_in = int.from_bytes(data[5:], "little")
            self.coils[device][first : first + value] = [bool(bits_in >> n & 1) for n in range(value)]
            return bytes([15]) + data[:4]
        if function == 6:
            return bytes([6]) + data[:4]
        return bytes([function | 0x80, 2])


# what can be done to a request


def answer(end: FarEnd, request: bytes, send: Callable[[bytes], None]) -> None:
    late, end.late = end.late, []
    send(b"".join(late) + end.honest(request))


def silent(end: FarEnd, request: bytes, send: Callable[[bytes], None]) -> None:
    """It does what it is asked and says nothing."""
    end.honest(request)
    end.clock.declare_silence(LINK)


def deaf(end: FarEnd, request: bytes, send: Callable[[bytes], None]) -> None:
    """It does nothing and says nothing."""
    end.clock.declare_silence(LINK)


def late(end: FarEnd, request: bytes, send: Callable[[bytes], None]) -> None:
    """The answer comes when the asker has given up: just before that of the next question."""
    end.late.append(end.honest(request))
    end.clock.declare_silence(LINK)


def half(end: FarEnd, request: bytes, send: Callable[[bytes], None]) -> None:
    whole = end.honest(request)
    send(whole[: len(whole) // 2])
    end.clock.declare_silence(LINK, grace=0.02)


def twice(end: FarEnd, request: bytes, send: Callable[[bytes], None]) -> None:
    send(2 * end.honest(request))


def again_later(end: FarEnd, request: bytes, send: Callable[[bytes], None]) -> None:
    """The answer; and it again when ``again`` is called."""
    whole = end.honest(request)
    send(whole)
    end.again = lambda: send(whole)


def chop(end: FarEnd, request: bytes, send: Callable[[bytes], None]) -> None:
    """Whole, but in two pieces."""
    whole = end.honest(request)
    send(whole[:5])
    asyncio.get_running_loop().call_soon(send, whole[5:])


def noisy(end: FarEnd, request: bytes, send: Callable[[bytes], None]) -> None:
    send(b"\x00\xff" + end.honest(request))
    end.clock.declare_silence(LINK, grace=0.02)


def reset(end: FarEnd, request: bytes, send: Callable[[bytes], None]) -> None:
    end.honest(request)
    end.hang_up()


def _changed(change: Callable[[bytes, bytes], tuple[bytes, bytes]]) -> Deed:
    """A whole answer with a good checksum, but changed: transaction and body."""

    def deed(end: FarEnd, request: bytes, send: Callable[[bytes], None]) -> None:
        transaction, body = end.split(end.honest(request))
        send(end.frame(*change(transaction, body)))
        end.clock.declare_silence(LINK, grace=0.02)

    return deed


other_device = _changed(lambda t, b: (t, bytes([b[0] + 1]) + b[1:]))
other_function = _changed(lambda t, b: (t, b[:1] + bytes([b[1] ^ 7]) + b[2:]))
transaction_zero = _changed(lambda t, b: (b"\0\0", b))
other_transaction = _changed(lambda t, b: ((int.from_bytes(t, "big") + 1).to_bytes(2, "big"), b))
too_long = _changed(lambda t, b: (t, b[:2] + bytes([b[2] + 1]) + b[3:] + b"\0" if b[1] < 5 else b + b"\0"))
miscounted = _changed(lambda t, b: (t, b[:2] + bytes([b[2] + 1]) + b[3:] if b[1] < 5 else b[:2] + b"\x0f" + b[3:]))
no_protocol = _changed(lambda t, b: (t, b))


def bad_checksum(end: FarEnd, request: bytes, send: Callable[[bytes], None]) -> None:
    whole = end.honest(request)
    send(whole[:-1] + bytes([whole[-1] ^ 0x10]))
    end.clock.declare_silence(LINK, grace=0.02)


def exception(code: int) -> Deed:
    def deed(end: FarEnd, request: bytes, send: Callable[[bytes], None]) -> None:
        transaction, body = end.split(request)
        send(end.frame(transaction, bytes([body[0], body[1] | 0x80, code])))

    return deed


@contextlib.asynccontextmanager
async def far_end(rtu: bool) -> AsyncIterator[tuple[FarEnd, str]]:
    """A far end and its address: HOST:PORT, or the path of a pseudo-terminal."""
    clock = LockstepClock()
    end = FarEnd(clock, rtu)
    if rtu:
        async with _on_terminal(end) as path:
            yield end, path
    else:
        async with _on_socket(end) as address:
            yield end, address


def _take(end: FarEnd, buffer: bytearray, send: Callable[[bytes], None]) -> None:
    while (length := end.length(bytes(buffer))) is not None and len(buffer) >= length:
        request = bytes(buffer[:length])
        del buffer[:length]
        end.serve(request, send)


@contextlib.asynccontextmanager
async def _on_socket(end: FarEnd) -> AsyncIterator[str]:
    talks: list[asyncio.Task[None]] = []

    async def talk(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        talks.append(asyncio.current_task())  # type: ignore[arg-type]
        end.hang_up = writer.transport.abort
        end.late.clear()  # what was late on the old connection went nowhere
        buffer = bytearray()
        with contextlib.suppress(ConnectionError):
            while data := await reader.read(1024):
                buffer += data
                _take(end, buffer, writer.write)
        writer.close()

    server = await asyncio.start_server(talk, "127.0.0.1", 0)
    host, port = server.sockets[0].getsockname()[:2]
    async with server:
        yield f"{host}:{port}"
    await asyncio.wait_for(asyncio.gather(*talks), 5)  # the client has gone: every talk comes to its end


@contextlib.asynccontextmanager
async def _on_terminal(end: FarEnd) -> AsyncIterator[str]:
    master, slave = os.openpty()
    tty.setraw(slave)
    buffer = bytearray()

    def hear() -> None:
        with contextlib.suppress(OSError):
            buffer.extend(os.read(master, 1024))
        _take(end, buffer, lambda data: os.write(master, data) and None)

    loop = asyncio.get_running_loop()
    loop.add_reader(master, hear)
    try:
        yield os.ttyname(slave)
    finally:
        loop.remove_reader(master)
        os.close(master)
        os.close(slave)
