"""What was seen to go wrong in the libraries, over the wire, where no lie of the simulated station shows it.

pyvisa-py: a dead address blocks in open; two threads on one instrument mix up each other's answers. pymodbus: a client
that was closed connects again; one dead device holds up its bus; without a wait between two attempts it goes round as
fast as it can. (A late answer taken for the next one, a transaction number 0 that is believed, a read-back that is too
soon and a peer that dies in mid-question are lies of ``test_every_lie.py`` and ``test_modbus_wire.py``; a refused port
that opens all the same is in ``test_visa_messages.py``.)
"""

from __future__ import annotations

import asyncio
import socket
from collections.abc import Iterator

import pytest

from drivers import modbus_line
from drivers.modbus_bus import ModbusBus
from drivers.modbus_line import TcpLine
from drivers.scale import LineScale
from rig.bench.clock import WallClock
from rig.bench.ports import Connection
from rig.errors import InstrumentError, NoAnswer
from rig.plan.wiring import InstrumentSpec, Link


@pytest.fixture
def dead() -> Iterator[int]:
    """A port whose queue is full: a connection to it is neither taken nor refused, as with a dead address."""
    with socket.socket() as listener:
        listener.bind(("127.0.0.1", 0))
        listener.listen(0)
        crowd = []
        for _ in range(4):
            one = socket.socket()
            one.setblocking(False)
            one.connect_ex(listener.getsockname())
            crowd.append(one)
        yield listener.getsockname()[1]
        for one in crowd:
            one.close()


def visa_scale(port: int) -> LineScale:
    spec = InstrumentSpec(driver="scale", link="scale", serial="S", map="demo-scale")
    link = Link(protocol="visa", address=f"TCPIP::127.0.0.1::{port}::SOCKET")
    return LineScale(Connection("scale-1", spec, "scale", link, WallClock(), simulated=False))


def test_a_dead_address_ends_at_the_questions_limit_and_holds_nobody_up(
    dead: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("drivers.scale.ANSWER_WITHIN", 0.3)
    monkeypatch.setattr("drivers.modbus_bus.ANSWER_WITHIN", 0.3)

    async def work() -> int:
        turns, over = 0, False

        async def others() -> None:
            nonlocal turns
            while not over:
                await asyncio.sleep(0.001)
                turns += 1

        beside = asyncio.ensure_future(others())
        with pytest.raises(NoAnswer, match=r"no answer within 0\.3 s"):
            await visa_scale(dead).identify()
        bus = ModbusBus("modbus", TcpLine("modbus", f"127.0.0.1:{dead}"), WallClock())
        with pytest.raises(NoAnswer, match=r"no answer within 0\.3 s"):
            await bus.read_bits("relays-1", 1, 1, 0, 8)
        over = True
        await beside
        return turns

    assert asyncio.run(work()) > 10


class Scale(asyncio.Protocol):
    """Answers each weighing with the next number, each question after its name with its name, a little late."""

    def __init__(self) -> None:
        self.weighed = 0

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        self._transport = transport

    def data_received(self, data: bytes) -> None:
        for line in data.split():
            self.weighed += line == b"W"
            said = f"S +{self.weighed:05d}.0 g\n" if line == b"W" else "SCALE,S1\n"
            asyncio.get_running_loop().call_later(0.001, self._transport.write, said.encode())  # type: ignore[attr-defined]


def test_forty_who_ask_one_instrument_at_once_each_have_their_own_answer() -> None:
    async def work() -> list[float]:
        server = await asyncio.get_running_loop().create_server(Scale, "127.0.0.1", 0)
        scale = visa_scale(server.sockets[0].getsockname()[1])
        try:
            return [answer.value for answer in await asyncio.gather(*(scale.read_value(0) for _ in range(40)))]
        finally:
            await scale.close()
            await asyncio.sleep(0.05)
            server.close()

    assert asyncio.run(work()) == [float(n) for n in range(1, 41)]


class Counted(asyncio.Protocol):
    """Takes whoever comes, and is silent."""

    came = 0

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        Counted.came += 1


def test_a_bus_that_was_closed_does_not_connect_again(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("drivers.modbus_bus.ANSWER_WITHIN", 0.2)
    monkeypatch.setattr(modbus_line, "RECONNECT", 0.01)

    async def work() -> tuple[int, int]:
        Counted.came = 0
        server = await asyncio.get_running_loop().create_server(Counted, "127.0.0.1", 0)
        port = server.sockets[0].getsockname()[1]
        bus = ModbusBus("modbus", TcpLine("modbus", f"127.0.0.1:{port}"), WallClock())
        with pytest.raises(InstrumentError):
            await bus.read_bits("relays-1", 1, 1, 0, 8)
        bus.close()
        before = Counted.came
        await asyncio.sleep(0.3)  # thirty times what it would wait
        server.close()
        return before, Counted.came

    before, after = asyncio.run(work())
    assert before == after >= 1


def test_it_never_tries_again_without_waiting() -> None:
    assert 0 < modbus_line.RECONNECT <= modbus_line.RECONNECT_MOST <= 10


def test_one_dead_module_costs_its_neighbours_its_own_limit_and_no_more(monkeypatch: pytest.MonkeyPatch) -> None:
    """Two modules behind one gateway, one of them silent; what the other is asked meanwhile is answered after it."""
    monkeypatch.setattr("drivers.modbus_bus.ANSWER_WITHIN", 2.0)

    class Gateway(asyncio.Protocol):
        def connection_made(self, transport: asyncio.BaseTransport) -> None:
            self._transport = transport

        def data_received(self, data: bytes) -> None:
            if data[6] == 1 and data[7] == 3:
                said = data[:4] + b"\0\x13" + data[6:8] + b"\x10" + b"S1".ljust(16)
                self._transport.write(said)  # type: ignore[attr-defined]
            elif data[6] == 1:
                self._transport.write(data[:4] + b"\0\4" + data[6:8] + b"\1\xff")  # type: ignore[attr-defined]

    async def work() -> list[object]:
        server = await asyncio.get_running_loop().create_server(Gateway, "127.0.0.1", 0)
        port = server.sockets[0].getsockname()[1]
        bus = ModbusBus("modbus", TcpLine("modbus", f"127.0.0.1:{port}"), WallClock())
        asked = [bus.read_bits("dead", 2, 1, 0, 8), bus.read_bits("alive", 1, 1, 0, 8)]
        try:
            return list(await asyncio.gather(*asked, return_exceptions=True))
        finally:
            bus.close()
            server.close()

    dead, alive = asyncio.run(work())
    assert isinstance(dead, NoAnswer)
    assert getattr(alive, "value", None) == (True,) * 8
