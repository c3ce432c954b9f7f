"""The simulated person at the bench: one JSON object a line in, one out.

In: {"verb", "thing", "kind", "options", "unit"}. Out: {"answer": ..., "seconds": ...}, or {"error": "..."}
for what the person does not understand.
"""

from collections.abc import Callable
from typing import Any

from simulators.wire import Answer, Plant, Question
from simulators.wire.frames import LineFrames
from simulators.wire.json_lines import read_object, write_object


class Person:
    """The far end of the "person" link. What is asked is done at once; the time it takes goes by after it."""

    def __init__(self, plant: Plant, advance: Callable[[float], None] | None = None) -> None:
        self.frames = LineFrames()
        self._plant = plant
        self._advance = advance or plant.advance

    def question(self, request: bytes) -> Question:
        """Everything is asked of the same person."""
        return Question("person", "person", ("ask",))

    def serve(self, request: bytes, now: float) -> Answer:
        """Do or look, and answer in JSON."""
        self._advance(now)
        try:
            answer, seconds = self._ask(request)
        except ValueError as error:  # also a line that is not JSON, a name the plant does not know
            return Answer(write_object({"error": str(error)}))
        return Answer(write_object({"answer": answer, "seconds": seconds}), seconds)

    def _ask(self, request: bytes) -> tuple[bool | str | float | None, float]:
        asked = read_object(request)
        options = asked.get("options") or []
        if not isinstance(options, list) or not all(isinstance(option, str) for option in options):
            raise ValueError('"options" is a list of strings')
        verb, thing, kind, unit = (_text(asked, name) for name in ("verb", "thing", "kind", "unit"))
        return self._plant.person(verb, thing, kind, options, unit)


def _text(asked: dict[str, Any], name: str) -> str:
    value = asked.get(name) or ""  # a unit or a kind may be left out, or null
    if not isinstance(value, str):
        raise ValueError(f'"{name}" is a string')
    return value
