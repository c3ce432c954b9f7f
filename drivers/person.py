"""The simulated person of a simulated station: one line of JSON asked, one answered, over a loopback socket."""

from __future__ import annotations

import asyncio
import json
from collections.abc import Sequence
from typing import Any

from rig.bench.ports import Answer, Connection, hands_line, text_words
from rig.errors import BadAnswer, InputError, NoAnswer

ANSWER_WITHIN = 4 * 3600.0  # people take their time, and wait for a unit to cool; even simulated ones


class SimulatedPerson:
    """Looks, pours, weighs, moves leads, presses and answers, as the simulated unit then shows."""

    def __init__(self, connection: Connection) -> None:
        self.name = connection.name
        self._clock, self._link_name = connection.clock, connection.link_name
        self._recorder = connection.recorder("lines", text_words)
        host, _, port = connection.link.address.rpartition(":")
        if host not in ("127.0.0.1", "localhost", "::1") or not port.isdigit():
            raise InputError(f"link {connection.link_name}: a simulated person is only at a loopback HOST:PORT")
        self._host, self._port = host, int(port)
        self._streams: tuple[asyncio.StreamReader, asyncio.StreamWriter] | None = None

    async def identify(self) -> str:
        return "simulated person"

    async def do(self, verb: str, thing: str, kind: str, options: Sequence[str], unit: str) -> Answer[Any]:
        asked = 0.0
        request = hands_line(verb, thing, kind, options, unit)

        async def exchange() -> bytes:
            nonlocal asked
            if self._streams is None:
                self._streams = await asyncio.open_connection(self._host, self._port)
            reader, writer = self._streams
            asked = self._clock.now()
            self._recorder.asked(self.name, request, asked)
            writer.write(request + b"\n")
            line = await reader.readline()
            self._recorder.said(self.name, line, self._clock.now())
            return line

        try:
            line = await self._clock.exchange(self._link_name, exchange, ANSWER_WITHIN)
            self._recorder.over(self._clock.now())
        except (TimeoutError, OSError) as error:
            await self.close()
            raise NoAnswer("the simulated person does not answer", "Start the station again.", self.name) from error
        except asyncio.CancelledError:
            await self.close()
            raise
        if not line:
            await self.close()
            raise NoAnswer("the simulated person has gone", "Start the station again.", self.name)
        try:
            reply = json.loads(line)
            answer = reply["answer"]
        except (ValueError, KeyError, TypeError):
            raise BadAnswer(f"the simulated person said {line[:80]!r}", culprit=self.name) from None
        return Answer(answer, asked, self._clock.now())

    async def close(self) -> None:
        streams, self._streams = self._streams, None
        if streams is not None:
            streams[1].close()


async def open_person(connection: Connection, shared: dict[str, Any]) -> SimulatedPerson:
    """Meet the simulated person."""
    return SimulatedPerson(connection)
