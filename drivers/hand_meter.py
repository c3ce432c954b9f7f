"""A person with a hand instrument: types every reading, and switches when asked. The rig itself switches nothing.

Readings are asked for by the run, which knows the question, the unit and the step; here is only the person's hand on
the switches of a panel. What a person confirmed is all that is known of them, so at first nothing is known to be off.
"""

from __future__ import annotations

from collections.abc import Awaitable, Callable, Sequence
from typing import Any

from rig.bench.ports import Answer, Connection
from rig.errors import Declined, NoAnswer, RigError, Stopped


async def _nobody(output: str, on: bool) -> None:
    raise Stopped("nobody is there to switch it", "Run it with a person at the bench.", output)


class HandMeter:
    """One person. An instrument that has no voice: its serial number is what the bench file says."""

    def __init__(self, connection: Connection) -> None:
        self.name = connection.name
        self.asks: Callable[[str, bool], Awaitable[None]] = _nobody
        self._clock, self._serial = connection.clock, connection.spec.serial
        self._outputs = dict(connection.outputs)
        self._on: dict[int, bool | None] = dict.fromkeys(self._outputs)  # None: nobody has said yet

    async def identify(self) -> str:
        return self._serial

    async def close(self) -> None:
        """There is no link to let go of."""

    async def write(self, channel: int, on: bool) -> Answer[None]:
        """Ask for one switch. Raises NoAnswer when nobody confirms, Declined for a channel without an output."""
        if channel not in self._outputs:
            raise Declined(f"no output is on channel {channel}", "Check the bench file.", self.name)
        asked = self._clock.now()
        self._on[channel] = None  # whoever goes away now may have thrown the switch, or not
        await self._ask(self._outputs[channel], on)
        self._on[channel] = on
        return Answer(None, asked, self._clock.now())

    async def write_all(self, on: Sequence[bool]) -> Answer[None]:
        """Ask for everything off, unless that is what was last confirmed. Raises NoAnswer, Declined for anything on."""
        if any(on):
            raise Declined("a person switches things on one at a time", culprit=self.name)
        asked = self._clock.now()
        if any(state is not False for state in self._on.values()):
            await self._ask("", False)
            self._on = dict.fromkeys(self._outputs, False)
        return Answer(None, asked, self._clock.now())

    async def read(self) -> Answer[tuple[bool, ...]]:
        """What was last confirmed of each channel; what nobody has said counts as on."""
        now = self._clock.now()
        channels = range(max(self._outputs, default=-1) + 1)
        return Answer(tuple(self._on.get(n, False) is not False for n in channels), now, now)

    async def _ask(self, output: str, on: bool) -> None:
        try:
            await self.asks(output, on)
        except RigError as error:
            what = f"nobody confirmed that {output or 'everything'} is {'on' if on else 'off'} ({error.what})"
            raise NoAnswer(what, "Look at the panel. Use the hard-wired stop if in doubt.", self.name) from error


async def open_hand_meter(connection: Connection, shared: dict[str, Any]) -> HandMeter:
    """Give a person the instrument."""
    return HandMeter(connection)
