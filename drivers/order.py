"""Whether a link is in order, and how it comes to order again. The same for every wire.

After a time-out or any oddity no answer counts: the answer that was waited for may still come, and would be taken for
that of the next question. The link is opened anew, once nothing more comes, and whoever is at its end says who it is.
"""

from __future__ import annotations

from collections.abc import Awaitable, Callable

from rig.bench.clock import Clock
from rig.errors import BadAnswer

CONFIRMS = 3  # questions after a name until the link is given up: what was under way may spoil the first


class OutOfOrder(Exception):
    """The link is in doubt; nothing was sent."""


class Order:
    """The order of one link. ``silence`` (s) is what it takes until nothing more comes; ``note`` is told when it is in
    order again."""

    def __init__(self, where: str, silence: float, clock: Clock, note: Callable[[str], None]) -> None:
        self._where, self._silence, self._clock, self._note = where, silence, clock, note
        self.doubt = ""  # why the next answer would not be believed
        self.oddities = 0  # how often it was in doubt

    def odd(self, why: str) -> None:
        """From now on no answer is believed until the link is in order."""
        if not self.doubt:
            self.oddities += 1
        self.doubt = why

    def refuse(self) -> None:
        """Raises OutOfOrder while the link is in doubt."""
        if self.doubt:
            raise OutOfOrder

    async def restore(self, confirm: Callable[[], Awaitable[None]]) -> None:
        """Wait for silence and confirm who is there: ``confirm`` opens anew and raises NoAnswer or BadAnswer when that
        is not who it was. Raises the same when it does not come to order."""
        why = self.doubt
        for attempt in range(CONFIRMS, 0, -1):
            await self._clock.sleep(self._silence)
            if not self.doubt:
                return  # somebody else has done it meanwhile
            try:
                await confirm()
                break
            except BadAnswer as error:
                if attempt == 1:
                    raise
                why = f"{why}; then {error.what}"
        self.doubt = ""
        self._note(f"{self._where} was opened anew and is in order, oddity {self.oddities} on it: {why}")
