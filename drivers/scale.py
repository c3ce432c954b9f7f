"""A bench scale that speaks in lines, over VISA: serial as a rule.

Its answers have no number, and one weight looks like the one before. So each weight is asked for together with its
name, one after the other: an answer that comes late, twice, or one behind is of the wrong kind.
"""

from __future__ import annotations

from typing import Any

from drivers.dialects import SCALES, ScaleDialect, chosen
from drivers.visa_line import VisaLine
from rig.bench.ports import Answer, Connection
from rig.errors import BadAnswer, OverRange
from rig.quantities import canonical, convert

ANSWER_WITHIN = 2.0  # s; a filtered weight takes some tenths of a second (common practice, no source)


class LineScale:
    """One scale in one dialect. Channel 0 is the weight."""

    def __init__(self, connection: Connection) -> None:
        self.name = connection.name
        self._dialect: ScaleDialect = SCALES[chosen(SCALES, connection.spec.map, connection.name)]
        known = self._dialect.name.fullmatch
        self._line = VisaLine(connection, self._dialect.who, lambda text: known(text) is not None, ANSWER_WITHIN)

    async def identify(self) -> str:
        found = self._dialect.name.fullmatch(await self._line.identity())
        assert found is not None  # else it would not have been believed
        return found["serial"]

    async def read_value(self, channel: int) -> Answer[float]:
        """The weight in g, at rest or moving. Raises NoAnswer, BadAnswer, OverRange."""
        if channel != 0:
            raise BadAnswer(f"a scale has channel 0 alone, asked was {channel}", "Check the bench file.", self.name)
        await self._line.identity()
        answer = await self._line.ask(self._dialect.weigh)
        if answer.value == self._dialect.over:
            raise OverRange("there is more on it than it can weigh", "Take something off.", self.name)
        found = self._dialect.weight.fullmatch(answer.value)
        if found is None:
            words = self._dialect.words.get(answer.value, f"{answer.value[:40]!r} is not a weight as it writes them")
            raise self._line.not_believed(words)
        unit = self._dialect.unit
        return Answer(convert(float(found["number"]), unit, canonical(unit)), answer.asked, answer.had)

    async def close(self) -> None:
        self._line.drop()


async def open_scale(connection: Connection, shared: dict[str, Any]) -> LineScale:
    """Open a scale; the link itself opens with the first question."""
    return LineScale(connection)
